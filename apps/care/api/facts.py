"""Daily care: every fact is read here, entered by POST and struck out by an act."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Model, Prefetch, QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal
from apps.animals.selectors import record_of
from apps.care import services
from apps.care.choices import (
    BodyShape,
    MarkKind,
    MealOutcome,
    Presentation,
    PreyKind,
    ShedStage,
    StrikeReason,
    Vigour,
)
from apps.care.models import CareMark, Condition, MealCheck, MealOffer, Photo, Shed, Weight
from apps.care.selectors import meal_of
from apps.care.selectors.meals import live_checks
from apps.core.errors import Invalid
from apps.core.units import read_grams

ANIMAL = OpenApiParameter("animal", str, description="Only facts of the animal with this ref.")
HIGHEST_ID = 2**63 - 1
FACT_FIELDS = [
    "id",
    "animal",
    "code",
    "observed_at",
    "recorded_at",
    "by",
    "client_id",
    "struck_at",
    "struck_by",
    "struck_reason",
]


def animal_by_ref(ref: str) -> Animal:
    """The animal a request names. Raises Invalid naming ``animal``."""
    found = Animal.objects.select_related("species").filter(ref=ref).first()
    if found is None:
        raise Invalid(f"There is no animal with the ref “{ref}”.", field="animal")
    return record_of(found)


class FactOut(serializers.ModelSerializer[Any]):
    """The columns every fact has."""

    animal = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    code = serializers.CharField(source="animal.code", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)
    struck_by = serializers.CharField(source="struck_by.name", read_only=True, default=None)


class WeightOut(FactOut):
    """A weight."""

    class Meta:
        model = Weight
        fields = [*FACT_FIELDS, "mass_g", "doubtful"]


class MealOut(FactOut):
    """An offer with its fate; ``outcome`` is null while nobody has checked."""

    outcome = serializers.SerializerMethodField()

    class Meta:
        model = MealOffer
        fields = [*FACT_FIELDS, "prey", "size", "prey_g", "count", "presentation", "outcome"]

    def get_outcome(self, offer: MealOffer) -> str | None:
        """ate, left, regurgitated or null."""
        return meal_of(offer).outcome


class MealCheckOut(FactOut):
    """A check."""

    offer = serializers.IntegerField(source="offer_id", read_only=True)

    class Meta:
        model = MealCheck
        fields = [*FACT_FIELDS, "offer", "outcome", "vigour"]


class ShedOut(FactOut):
    """Opaque eyes or a shed."""

    class Meta:
        model = Shed
        fields = [*FACT_FIELDS, "stage", "complete", "is_pre_lay"]


class CareMarkOut(FactOut):
    """Water, cleaned, droppings."""

    class Meta:
        model = CareMark
        fields = [*FACT_FIELDS, "kind"]


class ConditionOut(FactOut):
    """Body shape."""

    class Meta:
        model = Condition
        fields = [*FACT_FIELDS, "seen"]


class PhotoOut(FactOut):
    """A photograph; its pixels are at the document's own address."""

    document = serializers.CharField(source="document.ref", read_only=True)

    class Meta:
        model = Photo
        fields = [*FACT_FIELDS, "document", "caption"]


class SeenIn(serializers.Serializer[Any]):
    """What every entry may carry."""

    observed_at = serializers.DateTimeField(required=False, help_text="When it was seen; now when left out.")
    client_id = serializers.UUIDField(required=False, help_text="The entry's own id: a repeat gives the first row.")


class EntryIn(SeenIn):
    """An entry for one animal."""

    animal = serializers.CharField(max_length=10)


class GramsIn(serializers.FloatField):
    """Grams as a number, or as text that a person types or a scale sends."""

    def to_internal_value(self, data: Any) -> float:
        """The number of grams. Raises Invalid naming the field for what cannot be read one way."""
        if isinstance(data, str):
            return read_grams(data, field=self.field_name or "mass_g")
        return super().to_internal_value(data)


class WeightIn(EntryIn):
    """A weight in grams."""

    mass_g = GramsIn(help_text="Grams: a number, or words as a scale sends them (174.3 g, 12,5 kg).")
    doubtful = serializers.BooleanField(default=False)
    stated_check = serializers.BooleanField(default=False, help_text="The one weighing allowed after ovulation.")
    despite_hold = serializers.BooleanField(default=False, help_text="It was weighed although a hold forbade it.")


class PreyIn(serializers.Serializer[Any]):
    """What is offered."""

    prey = serializers.ChoiceField(choices=PreyKind.choices)
    size = serializers.CharField(max_length=20, allow_blank=True, default="")
    prey_g = serializers.FloatField(required=False, allow_null=True)
    count = serializers.IntegerField(min_value=1, max_value=200, default=1)
    presentation = serializers.ChoiceField(choices=Presentation.choices, default=Presentation.THAWED)


class MealIn(PreyIn, EntryIn):
    """Food put in for one animal."""

    despite_hold = serializers.BooleanField(default=False)


class MealsIn(PreyIn):
    """The same food to many."""

    animals = serializers.ListField(child=serializers.CharField(max_length=10), min_length=1, max_length=500)
    observed_at = serializers.DateTimeField(required=False)


class MealCheckIn(SeenIn):
    """The fate of a meal."""

    outcome = serializers.ChoiceField(choices=MealOutcome.choices)
    vigour = serializers.ChoiceField(choices=Vigour.choices, allow_blank=True, default="")


class MealsCheckIn(serializers.Serializer[Any]):
    """The fates of many meals, by the ids of their offers."""

    ate = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=HIGHEST_ID), default=list, max_length=500
    )
    left = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=HIGHEST_ID), default=list, max_length=500
    )
    regurgitated = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=HIGHEST_ID), default=list, max_length=500
    )
    observed_at = serializers.DateTimeField(required=False)


class ShedIn(EntryIn):
    """Opaque eyes or a shed."""

    stage = serializers.ChoiceField(choices=ShedStage.choices)
    complete = serializers.BooleanField(required=False, allow_null=True)
    is_pre_lay = serializers.BooleanField(default=False)


class CareMarkIn(EntryIn):
    """Water, cleaned, droppings."""

    kind = serializers.ChoiceField(choices=MarkKind.choices)


class ConditionIn(EntryIn):
    """Body shape."""

    seen = serializers.ChoiceField(choices=BodyShape.choices)


class PhotoIn(EntryIn):
    """A photograph as a file (multipart)."""

    photo = serializers.FileField()
    caption = serializers.CharField(allow_blank=True, default="", max_length=120)


class StrikeIn(serializers.Serializer[Any]):
    """Why it is struck out; not needed within ten minutes of an own entry."""

    reason = serializers.ChoiceField(choices=StrikeReason.choices, allow_blank=True, default="")


class FactViewSet(FloorViewSet):
    """Facts have no address of their own, so their number names them."""

    lookup_field = "pk"
    lookup_value_regex = "[0-9]{1,18}"
    related: ClassVar[tuple[str, ...]] = ("animal__species", "by", "struck_by")
    input_class: type[serializers.Serializer[Any]] = EntryIn
    act_permissions = {"create": Permission.CARE_RECORD, "strike": Permission.STRIKE_OWN}

    def get_queryset(self) -> QuerySet[Any]:
        """All facts, or those of ``?animal=``."""
        rows = super().get_queryset().select_related(*self.related)
        ref = self.request.query_params.get("animal") if self.request is not None else None
        return rows.filter(animal__ref=ref[:10].replace("\x00", "")) if ref else rows

    @extend_schema(parameters=[ANIMAL])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first; struck ones are there with who and why."""
        return super().list(request, *args, **kwargs)

    def entry(self) -> dict[str, Any]:
        """The input with its animal looked up."""
        data = self.valid(self.input_class)
        return data | {"animal": animal_by_ref(data["animal"])}

    def answer(self, row: Model) -> Response:
        """A created fact."""
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=StrikeIn)
    @action(detail=True, methods=["post"])
    def strike(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Strike the entry out."""
        data = self.valid(StrikeIn)
        row = services.fact_strike(
            by=self.by, fact=self.get_object(), reason=data["reason"], request_key=self.request_key
        )
        return Response(self.get_serializer(row).data)


class WeightViewSet(FactViewSet):
    """Weights."""

    queryset = Weight.objects.all()
    serializer_class = WeightOut
    input_class = WeightIn

    @extend_schema(request=WeightIn, responses={201: WeightOut})
    def create(self, request: Request) -> Response:
        """Record a weight; one that can hardly be right is answered with code ``questioned``."""
        return self.answer(services.weight_record(by=self.by, **self.entry(), request_key=self.request_key))


class MealViewSet(FactViewSet):
    """Meals: offered here, checked by an act."""

    queryset = MealOffer.objects.prefetch_related(Prefetch("checks", queryset=live_checks(), to_attr="live"))
    serializer_class = MealOut
    input_class = MealIn
    act_permissions = {
        **FactViewSet.act_permissions,
        "check_meal": Permission.CARE_RECORD,
        "offer_many": Permission.CARE_RECORD,
        "check_many": Permission.CARE_RECORD,
    }

    @extend_schema(request=MealIn, responses={201: MealOut})
    def create(self, request: Request) -> Response:
        """Offer food to one animal."""
        return self.answer(services.meal_offer(by=self.by, **self.entry(), request_key=self.request_key))

    @extend_schema(request=MealCheckIn, responses={201: MealCheckOut})
    @action(detail=True, methods=["post"], url_path="check")
    def check_meal(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Say what became of it."""
        data = self.valid(MealCheckIn)
        row = services.meal_check(by=self.by, offer=self.get_object(), **data, request_key=self.request_key)
        return Response(MealCheckOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=MealsIn, responses={201: MealOut(many=True)})
    @action(detail=False, methods=["post"], url_path="offer-many")
    def offer_many(self, request: Request) -> Response:
        """Offer the same food to many animals; all or none."""
        data = self.valid(MealsIn)
        animals = [animal_by_ref(ref) for ref in dict.fromkeys(data.pop("animals"))]
        rows = services.meals_offer(by=self.by, animals=animals, **data, request_key=self.request_key)
        return Response(MealOut(rows, many=True).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=MealsCheckIn, responses={201: MealCheckOut(many=True)})
    @action(detail=False, methods=["post"], url_path="check-many")
    def check_many(self, request: Request) -> Response:
        """Say what became of many meals; all or none."""
        data = self.valid(MealsCheckIn)
        wanted = {pk for fate in ("ate", "left", "regurgitated") for pk in data[fate]}
        offers = {row.pk: row for row in MealOffer.objects.filter(pk__in=wanted).select_related("animal__species")}
        missing = sorted(wanted - set(offers))
        if missing:
            raise Invalid(f"There is no offer {missing[0]}.", field="offers")
        rows = services.meals_check(
            by=self.by,
            ate=[offers[pk] for pk in data["ate"]],
            left=[offers[pk] for pk in data["left"]],
            regurgitated=[offers[pk] for pk in data["regurgitated"]],
            observed_at=data.get("observed_at"),
            request_key=self.request_key,
        )
        return Response(MealCheckOut(rows, many=True).data, status=status.HTTP_201_CREATED)


class MealCheckViewSet(FactViewSet):
    """Checks of meals; made by the meal's ``check`` act."""

    queryset = MealCheck.objects.all()
    serializer_class = MealCheckOut
    related = (*FactViewSet.related, "offer")
    act_permissions = {"strike": Permission.STRIKE_OWN}


class ShedViewSet(FactViewSet):
    """Sheds."""

    queryset = Shed.objects.all()
    serializer_class = ShedOut
    input_class = ShedIn

    @extend_schema(request=ShedIn, responses={201: ShedOut})
    def create(self, request: Request) -> Response:
        """Record opaque eyes or a shed."""
        return self.answer(services.shed_record(by=self.by, **self.entry(), request_key=self.request_key))


class CareMarkViewSet(FactViewSet):
    """Water, cleaning, droppings."""

    queryset = CareMark.objects.all()
    serializer_class = CareMarkOut
    input_class = CareMarkIn

    @extend_schema(request=CareMarkIn, responses={201: CareMarkOut})
    def create(self, request: Request) -> Response:
        """Record one."""
        return self.answer(services.mark_record(by=self.by, **self.entry(), request_key=self.request_key))


class ConditionViewSet(FactViewSet):
    """Body shapes."""

    queryset = Condition.objects.all()
    serializer_class = ConditionOut
    input_class = ConditionIn

    @extend_schema(request=ConditionIn, responses={201: ConditionOut})
    def create(self, request: Request) -> Response:
        """Record one."""
        return self.answer(services.condition_record(by=self.by, **self.entry(), request_key=self.request_key))


class PhotoViewSet(FactViewSet):
    """Photographs."""

    queryset = Photo.objects.all()
    serializer_class = PhotoOut
    related = (*FactViewSet.related, "document")
    input_class = PhotoIn
    parser_classes = [JSONParser, MultiPartParser]

    @extend_schema(request={"multipart/form-data": PhotoIn}, responses={201: PhotoOut})
    def create(self, request: Request) -> Response:
        """Add one; it is re-encoded, so nothing but its pixels is kept."""
        data = self.entry()
        content = data.pop("photo").read()
        return self.answer(services.photo_add(by=self.by, content=content, **data, request_key=self.request_key))
