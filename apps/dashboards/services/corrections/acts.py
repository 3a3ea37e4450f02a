"""The corrections themselves: what each one does, floor by floor. Each has a wish (for the preview) and a service."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

from apps.accounts.choices import CorrectionKind, Permission
from apps.accounts.models import Correction, Person
from apps.accounts.policies import check_may
from apps.accounts.services import service
from apps.animals.choices import Status
from apps.animals.models import Animal, Fact
from apps.animals.services.rehome import Move, placements_rehome
from apps.breeding.models import Scan, Visit
from apps.breeding.selectors.standing import cycle_rests_on, season_steps
from apps.breeding.services.rehome import VisitMove, check_scan_fits, check_visit_fits, scans_rehome, visits_rehome
from apps.care.models import Shed
from apps.care.policies import may_strike
from apps.care.selectors.standing import checks_left_behind, treatments_of
from apps.care.services.rehome import care_rehome, check_fits
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many, WrongState
from apps.core.formats import day_text
from apps.dashboards.selectors.corrections import Entry, animal_words, entries_of_animal, entry_key, moved_words
from apps.dashboards.services.corrections.plan import Wish, carry_out


def swap_wish(
    *, by: Person, first: Animal, second: Animal, since: datetime, put_back: bool = False, stays: Sequence[str] = ()
) -> Wish:
    """Two tubs were exchanged at ``since``: what was recorded of each since then is the other's.

    ``stays`` are keys of entries that are right as they are. Raises Invalid naming ``second`` or ``since``.
    """
    check_may(by, Permission.ANIMALS_MOVE)
    check_pair(first, second)
    check_since(since)
    kept = set(stays)
    pairs = ((first, second), (second, first))
    prescribed = [entry for animal in (first, second) for entry in treatments_of(animal, since)]
    moves = [(entry, other) for animal, other in pairs for entry in entries_of_animal(animal, since)]
    moving = [(entry, other) for entry, other in moves if entry_key(entry) not in kept]
    steps = [(cycle, words) for animal in (first, second) for cycle, words in season_steps(animal, since)]

    def work() -> None:
        _check_steps([f"{words} of {c.season.female.code}" for c, words in steps if f"cycle-{c.ref}" not in kept])
        _check_pre_lay([entry for entry, _ in moving])
        entries_rehome(by, moving, {first.pk: second, second.pk: first})
        placements_rehome(by=by, first=first, second=second, since=since, put_back=put_back)

    notes = [
        f"Stays with {animal.code}: {moved_words(check)}; its meal was offered before."
        for animal in (first, second)
        for check in checks_left_behind(animal, since)
    ]
    told = [f"{moved_words(entry)} of {animal_words(entry)}" for entry, _ in moves if entry_key(entry) in kept]
    told += [f"{words} of {c.season.female.code}" for c, words in steps if f"cycle-{c.ref}" in kept]
    notes += [f"Stays, as you said: {words}." for words in told]
    notes += [
        f"Stays with {entry.animal.code}: treatment {entry}. Doses since then may have gone into the other animal: "
        "tell the veterinarian who prescribed it."
        for entry in prescribed
    ]
    asked = {"since": since.isoformat(), "put_back": put_back, "stays": sorted(kept)}
    label = f"{first.code} and {second.code} exchanged since {day_text(clock.local(since))}"
    return Wish(CorrectionKind.SWAP, label, (first, second), asked, work, notes)


def swap_choices(first: Animal, second: Animal, since: datetime) -> list[tuple[str, str]]:
    """What may be left where it is when the two are exchanged: entries and steps of a season, by key and in words."""
    both = (first, second)
    entries = [entry for animal in both for entry in entries_of_animal(animal, since)]
    found = [(entry_key(entry), f"{animal_words(entry)}: {moved_words(entry)}") for entry in entries]
    found += [
        (f"cycle-{cycle.ref}", f"{one.code}: {words}") for one in both for cycle, words in season_steps(one, since)
    ]
    return list(dict(found).items())


@service("correction.swap", may=Permission.ANIMALS_MOVE)
def tubs_swap(
    *,
    by: Person,
    first: Animal,
    second: Animal,
    since: datetime,
    why: str,
    seen: str,
    put_back: bool = False,
    stays: Sequence[str] = (),
    request_key: str | None = None,
) -> Correction:
    """Put two exchanged tubs right, in one act. ``seen`` is the version of the preview.

    Raises Invalid naming the field, Stale when something came in since the preview, and what the floors raise when an
    entry cannot be the other animal's (leave that one where it is with ``stays``).
    """
    wish = swap_wish(by=by, first=first, second=second, since=since, put_back=put_back, stays=stays)
    return carry_out(by=by, wish=wish, why=why, seen=seen)


def facts_wish(*, by: Person, animal: Animal, to: Animal, keys: Sequence[str]) -> Wish:
    """Entries recorded of the wrong animal. Raises Invalid naming ``facts`` or ``second``, NotAllowed for an entry of
    somebody else without the right to strike out others'."""
    check_pair(animal, to)
    if not keys:
        raise Invalid("Choose at least one entry.", field="facts")
    there = {entry_key(entry): entry for entry in entries_of_animal(animal, None)}
    unknown = [key for key in keys if key not in there]
    if unknown:
        raise Invalid(f"“{unknown[0]}” is no entry that stands for {animal.code}.", field="facts")
    chosen = [there[key] for key in dict.fromkeys(keys)]
    for entry in chosen:
        if not (isinstance(entry, Fact) and may_strike(by, entry)):
            check_may(by, Permission.STRIKE_OTHERS)

    def work() -> None:
        _check_pre_lay(chosen)
        entries_rehome(by, [(entry, to) for entry in chosen], {animal.pk: to})

    what = moved_words(chosen[0]) if len(chosen) == 1 else f"{len(chosen)} entries"
    label = f"{what} of {animal.code} belong{'s' if len(chosen) == 1 else ''} to {to.code}"
    return Wish(CorrectionKind.FACTS, label, (animal, to), {"facts": list(keys)}, work)


@service("correction.facts", may=Permission.STRIKE_OWN)
def facts_move(
    *,
    by: Person,
    animal: Animal,
    to: Animal,
    keys: Sequence[str],
    why: str,
    seen: str,
    request_key: str | None = None,
) -> Correction:
    """Move entries to the animal they are of: an own one of today, or with the right to strike out others' any."""
    return carry_out(by=by, wish=facts_wish(by=by, animal=animal, to=to, keys=keys), why=why, seen=seen)


def entries_rehome(by: Person, moves: Sequence[tuple[Entry, Animal]], whose: dict[int, Animal]) -> None:
    """Hand each floor its entries. ``whose`` says which animal stands for which, for the pairs of visits."""
    care = [(entry, to) for entry, to in moves if isinstance(entry, Fact) and not isinstance(entry, Scan)]
    scans: list[tuple[Fact, Animal]] = [(entry, to) for entry, to in moves if isinstance(entry, Scan)]
    visits = {entry.pk: entry for entry, _ in moves if isinstance(entry, Visit)}
    stays = [
        VisitMove(visit, whose.get(visit.female_id, visit.female), whose.get(visit.male_id, visit.male))
        for visit in visits.values()
    ]
    _check_fit(care, scans, stays)
    care_rehome(by=by, moves=care)
    scans_rehome(by=by, moves=scans)
    visits_rehome(by=by, moves=stays)


def _check_fit(care: Sequence[Move], scans: Sequence[Move], visits: Sequence[VisitMove]) -> None:
    """Raises Many naming every entry that cannot be the other animal's, with what to do about it."""
    refused: list[DomainError] = []
    tests: list[tuple[Entry, Callable[[], object]]] = [
        *((fact, partial(check_fits, fact, to)) for fact, to in care),
        *((fact, partial(check_scan_fits, fact, to)) for fact, to in scans),
        *((move.visit, partial(check_visit_fits, move)) for move in visits),
    ]
    for entry, test in tests:
        try:
            test()
        except DomainError as error:
            words = f"{moved_words(entry)}: {error.message} Leave this entry where it is, or take it back first."
            refused.append(Invalid(words, field="stays", code=error.code))
    if refused:
        raise Many(refused)


def _check_steps(steps: Sequence[str]) -> None:
    """Raises Many for what was recorded of a cycle itself: nobody can tell from here whose it is."""
    if steps:
        advice = "Leave it with her, or take it back on her season page first and enter it again afterwards."
        raise Many([Invalid(f"{words}. {advice}", field="stays") for words in steps])


def _check_pre_lay(entries: Sequence[Entry]) -> None:
    """Raises WrongState for a pre-lay shed that a cycle rests on."""
    for entry in entries:
        if isinstance(entry, Shed) and entry.is_pre_lay and cycle_rests_on(entry):
            raise WrongState(
                f"The season of {entry.animal.code} rests on this pre-lay shed. Take it back on her season page first.",
                field="stays",
            )


def check_pair(first: Animal, second: Animal) -> None:
    """Raises Invalid naming ``second`` for the same animal twice or two species, WrongState for a merged record."""
    if first.pk == second.pk:
        raise Invalid("Name two different animals.", field="second")
    if first.species_id != second.species_id:
        raise Invalid(
            f"{first.code} is {first.species}, {second.code} is {second.species}: nobody takes one for the other.",
            field="second",
        )
    for animal in (first, second):
        if animal.status == Status.MERGED:
            raise WrongState(f"{animal.code} was merged into {animal.merged_into}. Use that one.", field="second")


def check_since(since: datetime) -> None:
    """Raises Invalid naming ``since``."""
    if since.tzinfo is None:
        raise Invalid("Give the moment with its time zone.", field="since")
    if since > clock.now():
        raise Invalid(
            "This moment is still to come. Give the last moment at which both were surely right.", field="since"
        )
