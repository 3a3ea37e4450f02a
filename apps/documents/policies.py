"""Who may read which document: papers that name a buyer are not for everybody."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.core.errors import NotAllowed
from apps.documents.models import Document

# Subjects whose papers carry a buyer's name and address or a price, and the rights of which one is enough to read them.
BUYER_SUBJECTS: dict[str, frozenset[Permission]] = {
    "parcel": frozenset({Permission.MONEY_READ, Permission.PARCELS_EDIT}),
    "order": frozenset({Permission.MONEY_READ}),
    "buyer": frozenset({Permission.MONEY_READ}),
    "purchase": frozenset({Permission.MONEY_READ}),
}


def may_read(person: Person, document: Document) -> bool:
    """Whether this person may open the document."""
    if not may(person, Permission.READ):
        return False
    needed = BUYER_SUBJECTS.get(document.subject_kind)
    return needed is None or any(may(person, right) for right in needed)


def check_may_read(person: Person, document: Document) -> None:
    """Raises NotAllowed when it names a buyer and this person may not see buyers."""
    if not may_read(person, document):
        raise NotAllowed("This paper names a buyer or a price. Ask somebody in sales or packing to open it.")


def readable(person: Person, documents: QuerySet[Document]) -> QuerySet[Document]:
    """Those of the documents that this person may open."""
    if not may(person, Permission.READ):
        return documents.none()
    hidden = [kind for kind, rights in BUYER_SUBJECTS.items() if not any(may(person, right) for right in rights)]
    return documents.exclude(Q(subject_kind__in=hidden)) if hidden else documents
