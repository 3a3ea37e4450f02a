"""Forms of animals. Services check everything again; forms read codes and labels into what they name."""

from __future__ import annotations

import difflib
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from apps.accounts.forms import MoneyField
from apps.animals.choices import HoldWord, Mode, Origin, Purpose, Sex, SireModel, Status, TraitBasis
from apps.animals.models import Animal, Species
from apps.animals.selectors import animal_by_code
from apps.core import clock
from apps.engines.genetics.catalogue import Harm, Inheritance, TwoCopies
from apps.engines.genetics.catalogue_reader import EVIDENCE
from apps.places.models import Rack, Room, Tub
from apps.places.selectors import tub_by_label

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


def typed_text(value: object) -> str:
    """What was typed, bounded, without the null bytes that a database refuses."""
    return str(value or "").replace("\x00", "").strip()[:120]


class AnimalField(forms.Field):
    """An animal by its code (or the address in its QR code)."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"autocomplete": "off"}), **kwargs)

    def to_python(self, value: Any) -> Animal | None:
        """The animal. Near codes are named when there is none."""
        typed = typed_text(value)
        if not typed:
            return None
        found = animal_by_code(typed)
        if found is None:
            codes = Animal.objects.filter(code_key__startswith=typed[:2].casefold()).values_list("code", flat=True)
            near = difflib.get_close_matches(typed, list(codes[:5000]), n=2)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            raise forms.ValidationError(f"There is no animal {typed}.{hint}", code="missing")
        return found


class TubField(forms.Field):
    """A tub by its label (or the address in its QR code)."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"autocomplete": "off"}), **kwargs)

    def to_python(self, value: Any) -> Tub | None:
        """The tub. Near labels are named when there is none."""
        typed = typed_text(value)
        if not typed:
            return None
        found = tub_by_label(typed)
        if found is None:
            near = difflib.get_close_matches(typed.upper(), list(Tub.objects.values_list("label", flat=True)), n=2)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            raise forms.ValidationError(f"There is no tub labelled {typed}.{hint}", code="missing")
        return found


class MomentField(forms.DateTimeField):
    """A moment as the facility's own clock shows it."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        super().__init__(widget=widget, input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"], **kwargs)

    def to_python(self, value: Any) -> datetime | None:
        """Read in the facility's zone, whatever zone the server runs in."""
        with timezone.override(clock.zone()):
            return super().to_python(value)


class RecordForm(forms.Form):
    """What may be said again later of any animal."""

    name = forms.CharField(label="Name", max_length=60, required=False)
    sex = forms.ChoiceField(label="Sex", choices=Sex.choices, initial=Sex.UNKNOWN)
    purpose = forms.ChoiceField(label="Kept as", choices=Purpose.choices, initial=Purpose.STOCK)
    hatched_on = forms.DateField(label="Hatched or born", required=False, widget=DAY)
    origin = forms.ChoiceField(label="Origin", choices=Origin.choices, initial=Origin.UNKNOWN)
    acquired_on = forms.DateField(label="Acquired on", required=False, widget=DAY)
    acquired_from = forms.CharField(label="Acquired from", max_length=120, required=False)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))


class NewAnimalForm(RecordForm):
    """An animal to register."""

    species = forms.ModelChoiceField(label="Species", queryset=Species.objects.order_by("common"), to_field_name="slug")
    code = forms.CharField(label="Code", max_length=30, help_text="kept as it is, never used again")
    traits = forms.CharField(
        label="Traits", max_length=200, required=False, help_text="as the trade writes them: Pastel 66% het Clown"
    )
    dam = AnimalField(label="Dam", required=False)
    sire = AnimalField(label="Sire", required=False)
    tub = TubField(label="Tub", required=False)
    is_hybrid = forms.BooleanField(label="Its parents are of two species", required=False)
    is_parthenogen = forms.BooleanField(label="It has no sire (parthenogenesis)", required=False)
    field_order = ("species", "code", "sex", "traits", "hatched_on", "tub", "purpose", "dam", "sire", "name")


class IntakeForm(forms.Form):
    """A bought animal."""

    species = forms.ModelChoiceField(label="Species", queryset=Species.objects.order_by("common"), to_field_name="slug")
    code = forms.CharField(label="Code", max_length=30, help_text="kept as it is, never used again")
    seller = forms.CharField(label="Bought from", max_length=120)
    bought_on = forms.DateField(label="Bought on", required=False, help_text="empty for today", widget=DAY)
    tub = TubField(label="Tub", help_text="of an isolation room, or of a rack that stands empty")
    sex = forms.ChoiceField(label="Sex", choices=Sex.choices, initial=Sex.UNKNOWN)
    traits = forms.CharField(label="Traits as sold", max_length=200, required=False)
    hatched_on = forms.DateField(label="Hatched or born", required=False, widget=DAY)
    cost_minor = MoneyField(label="Cost", required=False, help_text="read only by those who may see money")
    decide_on = forms.DateField(label="Keep or sell by", required=False, widget=DAY)
    papers = forms.FileField(
        label="Papers",
        required=False,
        help_text="a photograph: JPEG, PNG or WebP, at most 20 MB",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp", "capture": "environment"}),
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))


class MoveForm(forms.Form):
    """Into which tub."""

    tub = TubField(label="Into tub", help_text="its label; a label reader types it")
    reason = forms.CharField(label="Why", max_length=80, required=False)
    across = forms.CharField(
        label="Why across health groups",
        max_length=160,
        required=False,
        help_text="only for the breeding lead or an owner: into another group, or into a place in quarantine",
    )


class TraitsForm(forms.Form):
    """What an animal carries, and on what ground."""

    notation = forms.CharField(
        label="Traits", max_length=200, required=False, help_text="the whole statement: it replaces the one before"
    )
    basis = forms.ChoiceField(label="Known how", choices=TraitBasis.choices, initial=TraitBasis.SEEN)
    note = forms.CharField(label="Note", max_length=160, required=False)


class StatusForm(forms.Form):
    """It left, came back, or died."""

    status = forms.ChoiceField(label="It is now")
    on = forms.DateField(label="Since", widget=DAY)
    note = forms.CharField(label="Note", max_length=160, required=False)

    def __init__(self, *args: Any, choices: list[Status], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["status"] = forms.ChoiceField(
            label="It is now", choices=[(one.value, one.value) for one in choices]
        )


class SireForm(forms.Form):
    """Who sired it, and what settled that."""

    sire = AnimalField(label="Sire", required=False, help_text="empty: not known")
    why = forms.CharField(label="What settled it", max_length=160, help_text="a lock seen, a trait, a test")


class HoldForm(forms.Form):
    """A restriction that a person sets."""

    word = forms.ChoiceField(label="Because of")
    begins_at = MomentField(label="From", required=False, help_text="empty for now")
    ends_at = MomentField(label="Until", required=False, help_text="empty: until somebody ends it")
    reason = forms.CharField(label="Reason", max_length=160)

    def __init__(self, *args: Any, words: list[HoldWord], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["word"] = forms.ChoiceField(label="Because of", choices=[(one.value, one.value) for one in words])

    def clean_begins_at(self) -> datetime:
        """Now when nothing was typed."""
        typed: datetime | None = self.cleaned_data.get("begins_at")
        return typed or clock.now()


class PlaceHoldForm(HoldForm):
    """A restriction on a whole rack or room."""

    rack = forms.ModelChoiceField(
        label="Rack", queryset=Rack.objects.order_by("room__name", "name"), to_field_name="ref", required=False
    )
    room = forms.ModelChoiceField(
        label="or room", queryset=Room.objects.order_by("name"), to_field_name="ref", required=False
    )
    field_order = ("rack", "room")


class SpeciesForm(forms.Form):
    """A species without a shipped profile."""

    scientific = forms.CharField(label="Scientific name", max_length=80)
    common = forms.CharField(label="Common name", max_length=60)
    mode = forms.ChoiceField(label="Breeds by", choices=Mode.choices)
    code_prefix = forms.CharField(label="Codes begin with", max_length=4)
    venomous = forms.BooleanField(label="Venomous", required=False)


class NumberForm(forms.Form):
    """The facility's own number."""

    value = forms.FloatField(label="Our number", widget=forms.TextInput(attrs={"inputmode": "decimal"}))
    note = forms.CharField(label="Why", max_length=200, required=False)


class CrossForm(forms.Form):
    """Two animals, typed or recorded. The computation judges the words; here they only stand beside their fields."""

    species = forms.ModelChoiceField(
        label="Species", queryset=Species.objects.order_by("common"), to_field_name="slug", empty_label=None
    )
    dam = forms.CharField(
        label="Dam", max_length=400, required=False, help_text="a code, or her traits: Pastel 66% het Clown"
    )
    sire = forms.CharField(
        label="Sire", max_length=400, required=False, help_text="a code, or his traits: super Mojave"
    )
    clutch = forms.CharField(
        label="Hatchlings", max_length=9, required=False, help_text="6, or a range such as 4-8; empty: the usual range"
    )
    phase = forms.ChoiceField(
        label="A sex-linked trait, one copy, the sire had it from",
        required=False,
        choices=[("", "not known: half each"), ("male-maker", "his sire"), ("female-maker", "his dam")],
    )
    by_sex = forms.BooleanField(label="Sons and daughters apart", required=False)
    alone = forms.BooleanField(label="No sire (parthenogenesis)", required=False)


class TraitValueForm(forms.Form):
    """What one young of a trait set is worth here."""

    notation = forms.CharField(label="Traits", max_length=200, help_text="as the trade writes them: Pastel het Clown")
    sex = forms.ChoiceField(label="Sex", choices=[("unknown", "either"), ("male", "male"), ("female", "female")])
    amount = MoneyField(label="One young is worth")


class WelfareLiftForm(forms.Form):
    """Which welfare fact is lifted, and why."""

    pattern = forms.CharField(label="Lift", widget=forms.Select)
    reason = forms.CharField(
        label="Why",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="a sentence; it stays on record",
    )

    def __init__(self, *args: Any, names: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # the service judges the name: a repeat of an entry that went in must not be refused by the list
        self.fields["pattern"].widget = forms.Select(choices=[(name, name) for name in names])


class SiresForm(forms.Form):
    """Who may have sired a brood: up to four males, and stored sperm."""

    sire_model = forms.ChoiceField(
        label="The brood has",
        choices=[
            (SireModel.ONE, "one sire"),
            (SireModel.MIXED, "several sires"),
            (SireModel.UNKNOWN, "an unknown sire"),
        ],
    )
    male_1 = AnimalField(label="Male", required=False)
    share_1 = forms.FloatField(label="Chance in %", required=False, min_value=0, max_value=100)
    male_2 = AnimalField(label="Second male", required=False)
    share_2 = forms.FloatField(label="Chance in %", required=False, min_value=0, max_value=100)
    male_3 = AnimalField(label="Third male", required=False)
    share_3 = forms.FloatField(label="Chance in %", required=False, min_value=0, max_value=100)
    stored = forms.FloatField(label="Stored sperm, chance in %", required=False, min_value=0, max_value=100)


class CatalogueEditForm(forms.Form):
    """What every edit of a catalogue says of itself."""

    reason = forms.CharField(label="Why", max_length=400, help_text="a sentence; it stays on record")
    sure = forms.BooleanField(label="I am sure", required=False)

    def unasked(self) -> None:
        """Take away the question that nobody asked: whether it is sure comes up where animals are touched."""
        if "sure" not in self.errors:
            del self.fields["sure"]


class EvidenceForm(CatalogueEditForm):
    """What an edit says of genes or welfare rests on something."""

    evidence = forms.ChoiceField(label="Evidence", choices=[(word, word) for word in EVIDENCE])
    source = forms.CharField(
        label="Known from", max_length=400, help_text="the paper, or: common practice of the trade, no source"
    )


class CatalogueTraitForm(EvidenceForm):
    """A trait: new, or one that is there and is put right."""

    name = forms.CharField(label="Trait", max_length=60, help_text="one that is there is changed")
    label = forms.CharField(label="Short label", max_length=40, required=False)
    series = forms.CharField(
        label="Series", max_length=40, help_text="traits of one series are alleles of one gene; a new code begins one"
    )
    inheritance = forms.ChoiceField(label="Inherited", choices=[(word, word.replace("_", " ")) for word in Inheritance])
    two_copies = forms.ChoiceField(
        label="Two copies",
        required=False,
        choices=[
            ("", "as usual"),
            *((word, word.replace("_", " ")) for word in TwoCopies if word != TwoCopies.LETHAL),
        ],
    )
    aliases = forms.CharField(label="Other names", max_length=200, required=False, help_text="separated by commas")
    field_order = ("name", "label", "series", "inheritance", "two_copies", "aliases", "evidence", "source", "reason")

    def body(self) -> dict[str, object]:
        """The row as trait files write it; an empty field says nothing."""
        data = self.cleaned_data
        names = ("name", "label", "series", "inheritance", "two_copies", "evidence", "source")
        row: dict[str, object] = {name: " ".join(data[name].split()) for name in names if data[name]}
        aliases = _listed(data["aliases"])
        return row | ({"aliases": aliases} if aliases else {})


class CataloguePairForm(CatalogueEditForm):
    """What the trade calls two traits of one series together."""

    first = forms.CharField(label="One trait", max_length=60)
    second = forms.CharField(label="The other", max_length=60)
    called = forms.CharField(label="Called", max_length=200, help_text="several names separated by commas")
    field_order = ("first", "second", "called", "reason")

    def body(self) -> dict[str, object]:
        """A pair's row."""
        data = self.cleaned_data
        return {"pair": [data["first"].strip(), data["second"].strip()], "called": _listed(data["called"])}


class CatalogueWelfareForm(EvidenceForm):
    """What one or two copies of a trait mean for the animal."""

    trait = forms.CharField(label="Trait", max_length=60)
    copies = forms.TypedChoiceField(label="Copies", coerce=int, choices=[(1, "one or two"), (2, "two")])
    harm = forms.ChoiceField(
        label="Kind",
        choices=[(word, word) for word in Harm],
        help_text="lethal and neurological keep a cross out of suggestions until the owner lifts it",
    )
    fact = forms.CharField(label="What is told", max_length=400)
    field_order = ("trait", "copies", "harm", "fact", "evidence", "source", "reason")

    def body(self) -> dict[str, object]:
        """A welfare fact's row."""
        data = self.cleaned_data
        row = {name: " ".join(data[name].split()) for name in ("harm", "fact", "evidence", "source")}
        return {"when": {data["trait"].strip(): data["copies"]}, **row}


def _listed(text: str) -> list[str]:
    return [" ".join(word.split()) for word in text.split(",") if word.strip()]
