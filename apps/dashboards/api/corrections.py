"""The API of corrections: what would change, the acts that do it, what was done, and its undo."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import CorrectionKind, Permission
from apps.accounts.models import Correction, CorrectionRow
from apps.animals.selectors import animal_by_code, brood_by_code
from apps.core.errors import Invalid, Stale
from apps.core.rest import problem
from apps.dashboards.selectors.corrections import corrections
from apps.dashboards.services.corrections import acts, records
from apps.dashboards.services.corrections.plan import Plan, Wish, preview
from apps.dashboards.services.corrections.undo import correction_undo
from apps.places.selectors import tub_by_label

SWAP_EXAMPLE = OpenApiExample(
    "two tubs exchanged",
    value={
        "first": "PR-0412",
        "second": "PR-0437",
        "since": "2027-03-14T10:20:00-04:00",
        "put_back": False,
        "stays": [],
        "why": "found by weight",
        "seen": "3d987851f863dd32",
    },
    request_only=True,
)
PREVIEW_EXAMPLE = OpenApiExample(
    "two tubs exchanged",
    value={"act": "swap", "first": "PR-0412", "second": "PR-0437", "since": "2027-03-14T10:20:00-04:00"},
    request_only=True,
)


class CorrectionRowOut(serializers.ModelSerializer[CorrectionRow]):
    """One row before and after."""

    before = serializers.DictField(read_only=True)
    after = serializers.DictField(read_only=True)

    class Meta:
        model = CorrectionRow
        fields = ["table", "key", "verb", "before", "after"]


class CorrectionOut(serializers.ModelSerializer[Correction]):
    """What was put right."""

    by = serializers.CharField(source="by.name", read_only=True)
    undone_by = serializers.CharField(source="undone_by.name", read_only=True, default=None)
    asked = serializers.DictField(read_only=True)

    class Meta:
        model = Correction
        fields = ["ref", "kind", "label", "why", "asked", "at", "by", "undone_at", "undone_by"]


class LineOut(serializers.Serializer[Any]):
    """One thing that would change, in words."""

    section = serializers.CharField()
    words = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()
    key = serializers.CharField(help_text="Names an entry that may stay; empty when it cannot.")


class RestOut(serializers.Serializer[Any]):
    """Something that rests on the animals."""

    words = serializers.CharField()
    path = serializers.CharField()


class RestingOut(serializers.Serializer[Any]):
    """Offers, sold animals and papers to look at."""

    offers = RestOut(many=True)
    sold = RestOut(many=True)
    papers = RestOut(many=True)


class BeliefMoveOut(serializers.Serializer[Any]):
    """A chance of carrying, as it stands and as it would."""

    animal = serializers.CharField(help_text="ref")
    series = serializers.CharField()
    before = serializers.FloatField()
    after = serializers.FloatField()


class PlanOut(serializers.Serializer[Any]):
    """What would change; send ``version`` back as ``seen``."""

    kind = serializers.CharField()
    what = serializers.CharField()
    version = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())
    lines = LineOut(many=True)
    resting = RestingOut()
    beliefs = BeliefMoveOut(many=True, help_text="where parents change: what follows by itself")
    rows = serializers.IntegerField(help_text="How many rows of the database.")


class DoneIn(serializers.Serializer[Any]):
    """What every act needs: how it is known, and the version of the preview (here or in If-Match)."""

    why = serializers.CharField(max_length=160)
    seen = serializers.CharField(max_length=16, required=False)


class SwapIn(DoneIn):
    """Two tubs exchanged at ``since``."""

    first = serializers.CharField(max_length=30, help_text="ref or code")
    second = serializers.CharField(max_length=30)
    since = serializers.DateTimeField()
    put_back = serializers.BooleanField(default=False)
    stays = serializers.ListField(child=serializers.CharField(max_length=40), max_length=500, default=list)


class FactsIn(DoneIn):
    """Entries of ``first`` that are ``second``'s."""

    first = serializers.CharField(max_length=30)
    second = serializers.CharField(max_length=30)
    facts = serializers.ListField(child=serializers.CharField(max_length=40), min_length=1, max_length=500)


class MissingIn(DoneIn):
    """It is not in its tub."""

    first = serializers.CharField(max_length=30)


class FoundIn(DoneIn):
    """It was found (``why`` says where) and is in ``tub`` now."""

    first = serializers.CharField(max_length=30)
    tub = serializers.CharField(max_length=20)


class MergeIn(DoneIn):
    """``second`` is another record of ``first``."""

    first = serializers.CharField(max_length=30)
    second = serializers.CharField(max_length=30)


class RightSireIn(DoneIn):
    """``sire`` is the right sire of ``first``, or of a whole ``brood``."""

    sire = serializers.CharField(max_length=30)
    first = serializers.CharField(max_length=30, required=False)
    brood = serializers.CharField(max_length=30, required=False)


FORMS: dict[str, type[DoneIn]] = {
    "swap": SwapIn,
    "facts": FactsIn,
    "not-in-tub": MissingIn,
    "found": FoundIn,
    "merge": MergeIn,
    "sire": RightSireIn,
}


class PreviewIn(serializers.Serializer[Any]):
    """Any of the acts by name, with what it asks."""

    act = serializers.ChoiceField(choices=sorted(FORMS))
    first = serializers.CharField(max_length=30, required=False)
    second = serializers.CharField(max_length=30, required=False)
    since = serializers.DateTimeField(required=False)
    put_back = serializers.BooleanField(required=False)
    stays = serializers.ListField(child=serializers.CharField(max_length=40), max_length=500, required=False)
    facts = serializers.ListField(child=serializers.CharField(max_length=40), max_length=500, required=False)
    tub = serializers.CharField(max_length=20, required=False)
    sire = serializers.CharField(max_length=30, required=False)
    brood = serializers.CharField(max_length=30, required=False)


def named(data: dict[str, Any]) -> dict[str, Any]:
    """Animals, tub and brood for what names them. Raises Invalid naming the field."""
    found = dict(data)
    lookups: dict[str, Callable[[str], object]] = {
        "first": animal_by_code,
        "second": animal_by_code,
        "sire": animal_by_code,
        "tub": tub_by_label,
        "brood": brood_by_code,
    }
    for name, look in lookups.items():
        if name in found:
            found[name] = look(data[name])
            if found[name] is None:
                raise Invalid(f"There is no “{data[name]}” here.", field=name)
    return found


def sire_asked(v: dict[str, Any]) -> dict[str, Any]:
    """The whole brood, or one animal. Raises Invalid unless exactly one is named."""
    if ("brood" in v) == ("first" in v):
        raise Invalid("Name the animal (first) or the brood, one of them.", field="first")
    return {"sire": v["sire"], **({"brood": v["brood"]} if "brood" in v else {"animals": [v["first"]]})}


class CorrectionViewSet(FloorViewSet):
    """Corrections: preview, act, undo."""

    queryset = Correction.objects.select_related("by", "undone_by")
    serializer_class = CorrectionOut
    # a preview asks for the right of its act; an undo for that too, and for one more where it is another's
    act_permissions = {
        "preview": Permission.READ,
        "undo": Permission.READ,
        "swap": Permission.ANIMALS_MOVE,
        "facts": Permission.STRIKE_OWN,
        "not_in_tub": Permission.ANIMALS_MOVE,
        "found": Permission.ANIMALS_MOVE,
        "merge": Permission.ANIMALS_MERGE,
        "sire": Permission.ANIMALS_EDIT,
    }

    def wish(self, act: str, v: dict[str, Any]) -> Wish:
        """What is asked, as the services take it."""
        match act:
            case "swap":
                more = {"put_back": v["put_back"], "stays": v["stays"]}
                return acts.swap_wish(by=self.by, first=v["first"], second=v["second"], since=v["since"], **more)
            case "facts":
                return acts.facts_wish(by=self.by, animal=v["first"], to=v["second"], keys=v["facts"])
            case "not-in-tub":
                return records.missing_wish(by=self.by, animal=v["first"])
            case "found":
                return records.found_wish(by=self.by, animal=v["first"], tub=v["tub"], where=v["why"])
            case "merge":
                return records.merge_wish(by=self.by, kept=v["first"], gone=v["second"])
            case _:
                return records.sire_wish(by=self.by, why=v["why"], **sire_asked(v))

    def done(self, act: str, run: Callable[[dict[str, Any], dict[str, Any]], Correction]) -> Response:
        """Carry one act out; a stale reading is answered with what would change now."""
        data = named(self.valid(FORMS[act]))
        seen = data.get("seen") or self.request.headers.get("If-Match", "").strip('" ')
        if not seen:
            raise Invalid("Ask for the preview first and send its version as seen.", field="seen")
        last = {"by": self.by, "why": data["why"], "seen": seen, "request_key": self.request_key}
        try:
            row = run(data, last)
        except Stale as error:
            fresh = preview(by=self.by, wish=self.wish(act, data))
            return problem(409, error.code, error.message, preview=plan_out(fresh))
        return Response(CorrectionOut(corrections().get(pk=row.pk)).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=PreviewIn, responses=PlanOut, examples=[PREVIEW_EXAMPLE])
    @action(detail=False, methods=["post"])
    def preview(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """What an act would change; nothing is kept."""
        data = self.valid(PreviewIn)
        act = data.pop("act")
        form = FORMS[act](data={**data, "why": "preview"})
        form.fields.pop("seen")
        form.is_valid(raise_exception=True)
        return Response(plan_out(preview(by=self.by, wish=self.wish(act, named(dict(form.validated_data))))))

    @extend_schema(request=SwapIn, responses={201: CorrectionOut}, examples=[SWAP_EXAMPLE])
    @action(detail=False, methods=["post"])
    def swap(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Put two exchanged tubs right."""
        return self.done(
            "swap",
            lambda v, last: acts.tubs_swap(
                first=v["first"],
                second=v["second"],
                since=v["since"],
                put_back=v["put_back"],
                stays=v["stays"],
                **last,
            ),
        )

    @extend_schema(request=FactsIn, responses={201: CorrectionOut})
    @action(detail=False, methods=["post"])
    def facts(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Move entries to the animal they are of."""
        return self.done(
            "facts", lambda v, last: acts.facts_move(animal=v["first"], to=v["second"], keys=v["facts"], **last)
        )

    @extend_schema(request=MissingIn, responses={201: CorrectionOut})
    @action(detail=False, methods=["post"], url_path="not-in-tub")
    def not_in_tub(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Report an animal that is not in its tub."""
        return self.done("not-in-tub", lambda v, last: records.animal_missing(animal=v["first"], **last))

    @extend_schema(request=FoundIn, responses={201: CorrectionOut})
    @action(detail=False, methods=["post"])
    def found(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """It was found."""

        def run(v: dict[str, Any], last: dict[str, Any]) -> Correction:
            where = last.pop("why")
            return records.animal_found(animal=v["first"], tub=v["tub"], where=where, **last)

        return self.done("found", run)

    @extend_schema(request=MergeIn, responses={201: CorrectionOut})
    @action(detail=False, methods=["post"])
    def merge(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Make one record of two."""
        return self.done("merge", lambda v, last: records.records_merge(kept=v["first"], gone=v["second"], **last))

    @extend_schema(request=RightSireIn, responses={201: CorrectionOut})
    @action(detail=False, methods=["post"])
    def sire(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Set the right sire."""
        return self.done("sire", lambda v, last: records.sire_correct(**sire_asked(v), **last))

    @extend_schema(responses=CorrectionRowOut(many=True))
    @action(detail=True, methods=["get"])
    def rows(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Every row it changed."""
        return Response(CorrectionRowOut(self.get_object().rows.order_by("order"), many=True).data)

    @extend_schema(request=None, responses=CorrectionOut)
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Put every row back as it was."""
        row = correction_undo(by=self.by, correction=self.get_object(), request_key=self.request_key)
        return Response(CorrectionOut(corrections().get(pk=row.pk)).data)


def plan_out(plan: Plan) -> dict[str, Any]:
    """A plan as JSON."""
    rest = {
        name: [{"words": one.words, "path": one.path} for one in getattr(plan.resting, name)]
        for name in ("offers", "sold", "papers")
    }
    lines = [
        {"section": x.section, "words": x.words, "before": x.before, "after": x.after, "key": x.key} for x in plan.lines
    ]
    return {
        "kind": CorrectionKind(plan.kind).value,
        "what": plan.label,
        "version": plan.version,
        "notes": list(plan.notes),
        "lines": lines,
        "resting": rest,
        "beliefs": [
            {"animal": one.animal.ref, "series": one.series, "before": one.before, "after": one.after}
            for one in plan.beliefs
        ],
        "rows": len(plan.rows),
    }
