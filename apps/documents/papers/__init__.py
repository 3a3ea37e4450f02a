"""Papers that know no animal: labels on any stock, and the page that shows how far a printer is out."""

from apps.documents.papers.calibration import calibration_make
from apps.documents.papers.labels import MOST_LABELS, Face, label_address, labels_make, selection_ref

__all__ = ["MOST_LABELS", "Face", "calibration_make", "label_address", "labels_make", "selection_ref"]
