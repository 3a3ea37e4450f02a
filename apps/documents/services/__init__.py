"""Writes of documents: rendering and keeping papers, keeping photographs."""

from apps.documents.services.keep import document_store, document_void, documents_rehome
from apps.documents.services.papers import paper_make, pdf_render, qr_svg
from apps.documents.services.photos import photo_clean
from apps.documents.services.printers import label_printer_add, label_printer_change

__all__ = [
    "document_store",
    "document_void",
    "documents_rehome",
    "label_printer_add",
    "label_printer_change",
    "paper_make",
    "pdf_render",
    "photo_clean",
    "qr_svg",
]
