"""One cross as the facility asks it: two typed or recorded animals, odds, kinship, welfare, value."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from apps.accounts.selectors import facility
from apps.animals.choices import Sex
from apps.animals.models import Animal, Species
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.lineage import animal_by_code
from apps.animals.selectors.species import profile_numbers
from apps.animals.selectors.trait_values import prices_of, trait_values
from apps.animals.selectors.welfare import WelfareBlock, blocks_of_beliefs, welfare_lifted
from apps.animals.selectors.what_if import recorded_kinship
from apps.animals.selectors.what_if_parts import bounded, question_deadline
from apps.core.errors import DomainError, Invalid, Many
from apps.core.questions import NotYetAnswered, QuestionError
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.errors import CrossError, NotationError
from apps.engines.genetics.gametes import Phase, one_copy_needs_phase
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.value import Worth, worth_of

CLUTCH = re.compile(r"^\s*(\d{1,3})\s*(?:(?:-|–|to)\s*(\d{1,3})\s*)?$")
ANY_DIGIT = re.compile(r"\d")


@dataclass(frozen=True, slots=True)
class CrossAsked:
    """What was typed. `dam` and `sire` are codes or trade notation; `alone` means parthenogenesis."""

    species: Species
    dam: str
    sire: str
    clutch: str = ""
    phase: str = ""
    by_sex: bool = False
    alone: bool = False


@dataclass(frozen=True, slots=True)
class CrossSide:
    """One parent: its belief and, when it was named by code, the animal."""

    belief: Belief
    animal: Animal | None


@dataclass(frozen=True, slots=True)
class CrossAnswer:
    """Everything one cross says. `worth` is None without values or while something blocks; `kinship` is None unless
    both parents are recorded and their pedigree could be read (`kinship_why` then says why)."""

    catalogue: Catalogue
    dam: CrossSide
    sire: CrossSide | None
    clutch: Mapping[int, Fraction]
    clutch_assumed: bool
    by_sex: bool
    phase: Phase | None
    phase_assumed: bool
    result: CrossResult
    blocks: tuple[WelfareBlock, ...]
    lifted: tuple[str, ...]
    has_values: bool
    worth: Worth | None
    currency: str
    kinship: Mapping[str, object] | None
    kinship_why: str

    @property
    def mean_clutch(self) -> Fraction:
        """Hatchlings expected of a brood of this size."""
        return sum((size * share for size, share in self.clutch.items()), Fraction(0))


def cross_answer(asked: CrossAsked) -> CrossAnswer:
    """Compute one cross. Raises Many with an error per field: species, dam, sire, clutch, phase, by_sex."""
    catalogue = catalogue_of(asked.species)
    if catalogue is None:
        raise Invalid(f"{asked.species} has no trait catalogue, so no odds can be computed.", field="species")
    faults: list[DomainError] = []
    dam = sire = None
    clutch: dict[int, Fraction] = {}
    assumed = not asked.clutch.strip()
    for read in ("dam", "sire", "clutch"):
        try:
            if read == "dam":
                dam = _side("dam", asked.dam, asked.species, catalogue)
            elif read == "sire" and not asked.alone:
                sire = _side("sire", asked.sire, asked.species, catalogue)
            elif read == "clutch":
                clutch = _usual_clutch(asked.species) if assumed else clutch_read(asked.clutch)
        except DomainError as error:
            faults.append(error)
    if faults or dam is None:
        raise Many(faults)
    needs_phase = sire is not None and one_copy_needs_phase(catalogue, sire.belief)
    phase = _phase(asked.phase) if needs_phase else None
    rows = trait_values(asked.species)
    prices = prices_of(catalogue, rows)
    linked = any(catalogue.by_code[code].sex_linked for side in (dam, sire) if side for code in side.belief.loci)
    sexes = catalogue.sex_system.by_chromosomes
    by_sex = sexes and (asked.by_sex or linked or any(price.sex for price in prices))
    result = _crossed(catalogue, dam, sire, phase, clutch, by_sex)
    lifted = welfare_lifted(asked.species)
    found = blocks_of_beliefs(catalogue, dam.belief, sire.belief if sire else None, ())
    blocks = tuple(block for block in found if block.name not in lifted)
    kinship, why = _kinship(dam, sire)
    return CrossAnswer(
        catalogue=catalogue,
        dam=dam,
        sire=sire,
        clutch=clutch,
        clutch_assumed=assumed,
        by_sex=by_sex,
        phase=phase,
        phase_assumed=needs_phase and not asked.phase,
        result=result,
        blocks=blocks,
        lifted=tuple(block.name for block in found if block.name in lifted),
        has_values=bool(prices),
        worth=worth_of(catalogue, result.outcomes, result.outcomes_remaining, prices)
        if prices and not blocks
        else None,
        currency=facility().currency,
        kinship=kinship,
        kinship_why=why,
    )


def clutch_read(text: str) -> dict[int, Fraction]:
    """`6`, or `4-8` for each size from 4 to 8 equally likely. Raises Invalid naming the bounds."""
    match = CLUTCH.match(text)
    if match is None:
        raise Invalid("Write how many hatchlings, such as 6, or a range such as 4-8.", field="clutch")
    low = int(match.group(1))
    high = int(match.group(2) or low)
    if not 1 <= low <= high <= 100:
        raise Invalid("A clutch is 1 to 100 hatchlings, the smaller number first.", field="clutch")
    return {size: Fraction(1, high - low + 1) for size in range(low, high + 1)}


def _usual_clutch(species: Species) -> dict[int, Fraction]:
    """The species' usual range, each size equally likely; one hatchling where no range is known."""
    numbers = profile_numbers(species)
    if "brood.size_low" not in numbers or "brood.size_high" not in numbers:
        return {1: Fraction(1)}
    low, high = max(1, round(numbers["brood.size_low"])), min(100, round(numbers["brood.size_high"]))
    return {size: Fraction(1, high - low + 1) for size in range(low, high + 1)}


def _phase(word: str) -> Phase:
    if not word:
        return Phase.UNKNOWN
    if word not in list(Phase):
        raise Invalid(f"“{word}” is no phase. Choose from {', '.join(Phase)}.", field="phase")
    return Phase(word)


def _side(field: str, typed: str, species: Species, catalogue: Catalogue) -> CrossSide:
    """A code of a recorded animal first, else trade notation. An unknown word names near codes and near traits."""
    words = typed.strip()
    if not words:
        raise Invalid(
            f"Name the {field}: a code, or traits such as “het Clown”; normal if it shows nothing.", field=field
        )
    animal = animal_by_code(words)
    if animal is None:
        try:
            return CrossSide(parse_notation(words, catalogue), None)
        except NotationError as error:
            raise Invalid(_unread(words, error), field=field) from error
    if animal.species_id != species.pk:
        raise Invalid(f"{animal.code} is a {animal.species.common}, not a {species.common}.", field=field)
    wrong = Sex.MALE if field == "dam" else Sex.FEMALE
    if animal.sex == wrong:
        raise Invalid(f"{animal.code} is {animal.sex}: it cannot be the {field}.", field=field)
    try:
        return CrossSide(parse_notation(animal.traits.strip() or "normal", catalogue), animal)
    except NotationError as error:
        raise Invalid(f"What is recorded of {animal.code} cannot be read: {error}", field=field) from error


def _unread(words: str, error: NotationError) -> str:
    said = str(error)[:1].upper() + str(error)[1:]
    if " " in words or not ANY_DIGIT.search(words):
        return said
    codes = Animal.objects.filter(code_key__startswith=words[:2].casefold()).values_list("code", flat=True)
    near = difflib.get_close_matches(words, list(codes[:5000]), n=2)
    hint = f" Did you mean {' or '.join(near)}?" if near else ""
    return f"There is no animal {words}.{hint}" if near else f"{said} There is no animal of this code either."


def _crossed(
    catalogue: Catalogue,
    dam: CrossSide,
    sire: CrossSide | None,
    phase: Phase | None,
    clutch: Mapping[int, Fraction],
    by_sex: bool,
) -> CrossResult:
    try:
        with bounded("crosses of this size"):
            return cross(
                catalogue,
                Parent(dam.belief),
                None if sire is None else Parent(sire.belief, phase),
                clutch=clutch,
                by_sex=by_sex,
                deadline=question_deadline(),
            )
    except CrossError as error:
        field = {"phase.sire": "phase", "clutch_size": "clutch"}.get(error.field, error.field)
        known = field in ("phase", "clutch", "by_sex", "sire")
        raise Invalid(f"{error.problem} {error.fix}", field=field if known else "dam") from error
    except QuestionError as error:
        raise Invalid("This cross did not finish in time. Name fewer traits.", field="dam") from error


def _kinship(dam: CrossSide, sire: CrossSide | None) -> tuple[Mapping[str, object] | None, str]:
    if dam.animal is None or sire is None or sire.animal is None:
        return None, ""
    try:
        return recorded_kinship(dam.animal.code, sire.animal.code), ""
    except (QuestionError, NotYetAnswered) as error:
        return None, str(error)
