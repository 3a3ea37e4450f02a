"""Roles and permissions: code with descriptions. The database stores role keys only."""

from __future__ import annotations

from enum import StrEnum

from django.db.models import TextChoices


class Permission(StrEnum):
    """What a person may do. The value is stable; the description is what the owner reads."""

    READ = "read"
    MONEY_READ = "money-read"
    ANIMALS_EDIT = "animals-edit"
    ANIMALS_MOVE = "animals-move"
    ANIMALS_MERGE = "animals-merge"
    TRAITS_EDIT = "traits-edit"
    CARE_RECORD = "care-record"
    TREATMENT_SET = "treatment-set"
    SCANS_RECORD = "scans-record"
    VISITS_RECORD = "visits-record"
    SEASONS_EDIT = "seasons-edit"
    BROODS_EDIT = "broods-edit"
    INCUBATORS_EDIT = "incubators-edit"
    HATCH = "hatch"
    SALES_EDIT = "sales-edit"
    REFUND = "refund"
    PARCELS_EDIT = "parcels-edit"
    PARCEL_RELEASE_MARGINAL = "parcel-release-marginal"
    PARCEL_RELEASE_LAW = "parcel-release-law"
    ALARM_ACKNOWLEDGE = "alarm-acknowledge"
    STRIKE_OWN = "strike-own"
    STRIKE_OTHERS = "strike-others"
    WELFARE_LIFT = "welfare-lift"
    PLACES_EDIT = "places-edit"
    PEOPLE_EDIT = "people-edit"
    SETTINGS_EDIT = "settings-edit"
    IMPORT = "import"
    EXPORT = "export"
    JOBS_READ = "jobs-read"

    @property
    def description(self) -> str:
        """The sentence shown beside the role."""
        return _DESCRIPTIONS[self]


_DESCRIPTIONS: dict[Permission, str] = {
    Permission.READ: "read animals, seasons, broods and places",
    Permission.MONEY_READ: "see buyers, prices and payments",
    Permission.ANIMALS_EDIT: "add animals, change their facts, settle lineage",
    Permission.ANIMALS_MOVE: "move animals inside a health group, swap two tubs, report one not in its tub",
    Permission.ANIMALS_MERGE: "merge two records of the same animal",
    Permission.TRAITS_EDIT: "edit trait values and the trait catalogue",
    Permission.CARE_RECORD: "record meals, weights, sheds, water, cleaning and health notes; walk rounds, work tasks; "
    "set up label printers",
    Permission.TREATMENT_SET: "set treatments and quarantine",
    Permission.SCANS_RECORD: "open scan rounds and record readings",
    Permission.VISITS_RECORD: "record visits and locks",
    Permission.SEASONS_EDIT: "open, rest and close seasons; record ovulation and pre-lay shed; override advice",
    Permission.BROODS_EDIT: "record laying, eggs, boxes and egg checks",
    Permission.INCUBATORS_EDIT: "set up incubators and probes",
    Permission.HATCH: "hatch eggs into animals and identify them",
    Permission.SALES_EDIT: "offers, reservations, orders, payments and buyers",
    Permission.REFUND: "refund a buyer up to the set limit",
    Permission.PARCELS_EDIT: "plan, book, pack and hand over parcels, print their papers, record arrivals",
    Permission.PARCEL_RELEASE_MARGINAL: "release a parcel on a marginal day",
    Permission.PARCEL_RELEASE_LAW: "release a parcel against a law block with a permit document",
    Permission.ALARM_ACKNOWLEDGE: "acknowledge an alarm",
    Permission.STRIKE_OWN: "strike out an own entry within the day",
    Permission.STRIKE_OTHERS: "strike out other people's entries",
    Permission.WELFARE_LIFT: "lift a welfare block by name, on record",
    Permission.PLACES_EDIT: "set up sites, rooms, racks and health groups",
    Permission.PEOPLE_EDIT: "add people and give roles",
    Permission.SETTINGS_EDIT: "change facility and money settings",
    Permission.IMPORT: "import files",
    Permission.EXPORT: "export records",
    Permission.JOBS_READ: "see background jobs and their failures",
}


class Role(StrEnum):
    """The seven roles of a facility. A person may hold several; rights add up."""

    OWNER = "owner"
    BREEDING_LEAD = "breeding lead"
    KEEPER = "keeper"
    INCUBATION = "incubation"
    SALES = "sales"
    PACKER = "packer"
    OBSERVER = "observer"

    @property
    def permissions(self) -> frozenset[Permission]:
        """What this role may do."""
        return _ROLES[self]


_EVERYONE = frozenset({Permission.READ, Permission.ALARM_ACKNOWLEDGE, Permission.STRIKE_OWN})
_P = Permission
_ROLES: dict[Role, frozenset[Permission]] = {
    Role.OWNER: frozenset(Permission),
    Role.BREEDING_LEAD: _EVERYONE
    | {
        _P.ANIMALS_EDIT,
        _P.ANIMALS_MOVE,
        _P.ANIMALS_MERGE,
        _P.TRAITS_EDIT,
        _P.CARE_RECORD,
        _P.TREATMENT_SET,
        _P.SCANS_RECORD,
        _P.VISITS_RECORD,
        _P.SEASONS_EDIT,
        _P.BROODS_EDIT,
        _P.HATCH,
        _P.STRIKE_OTHERS,
        _P.PARCEL_RELEASE_MARGINAL,
        _P.IMPORT,
        _P.JOBS_READ,
        _P.MONEY_READ,
    },
    Role.KEEPER: _EVERYONE | {_P.CARE_RECORD, _P.SCANS_RECORD, _P.VISITS_RECORD, _P.ANIMALS_MOVE},
    Role.INCUBATION: _EVERYONE | {_P.BROODS_EDIT, _P.INCUBATORS_EDIT, _P.HATCH},
    Role.SALES: _EVERYONE | {_P.SALES_EDIT, _P.MONEY_READ, _P.REFUND},
    Role.PACKER: _EVERYONE | {_P.PARCELS_EDIT},
    Role.OBSERVER: frozenset({_P.READ, _P.ALARM_ACKNOWLEDGE}),
}


class DeviceKind(StrEnum):
    """What a registered device is for."""

    SHARED_TABLET = "shared tablet"
    PROBE = "probe"


class CorrectionKind(TextChoices):
    """What was put right."""

    SWAP = "swap", "two tubs exchanged"
    NOT_IN_TUB = "not in tub", "not in its tub"
    FOUND = "found", "found again"
    MERGE = "merge", "recorded twice"
    FACTS = "facts", "facts on the wrong animal"
    SIRE = "sire", "wrong sire"


class RowVerb(TextChoices):
    """What a correction did to one row."""

    ADDED = "added"
    CHANGED = "changed"
    REMOVED = "removed"
