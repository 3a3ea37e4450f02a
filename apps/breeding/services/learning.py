"""Once a season is over its cycles correct the species' figures; what the house set itself stays."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.animals.models import Species
from apps.animals.selectors import all_species, number_rows
from apps.animals.services import species_numbers_learn
from apps.breeding.selectors.backtest import closed_seasons
from apps.breeding.selectors.learning import FiguresBefore, figures_before, learned_from, this_season
from apps.core.formats import count_text
from apps.engines.follicles import Learned, PastSeason


def figures_learn_all(*, by: Person) -> str:
    """Ask the closed seasons of every species; nothing new in them writes nothing. One line on what was written."""
    said = []
    for species in all_species().filter(has_profile=True):
        try:
            before = figures_before(species)
        except KeyError:
            continue  # records, no advice
        learned = _learn(by, species, before)
        if learned is not None:
            said.append(f"{species}: {count_text(len(learned.numbers), 'figure')} from {_cycles(learned)}")
    return "; ".join(said) or "nothing new in closed seasons"


def _learn(by: Person, species: Species, before: FiguresBefore) -> Learned | None:
    seasons = closed_seasons(species, before, this_season(before))
    source = _source(seasons)
    if not seasons or any(row.source == source for row in number_rows(species).values()):
        return None
    learned = learned_from(seasons, before)
    if learned is not None:
        species_numbers_learn(by=by, species=species, numbers=learned.numbers, source=source)
    return learned


def _cycles(learned: Learned) -> str:
    return f"{count_text(learned.cycles, 'cycle')}, {count_text(learned.ovulations, 'ovulation')}"


def _source(seasons: list[PastSeason]) -> str:
    """Names the cycles, so that the same ones are not asked twice."""
    scans = sum(len(past.facts.scans) for past in seasons)
    came = sum(past.came_on is not None for past in seasons)
    years = sorted({past.ends.year for past in seasons})
    ends = f", seasons that ended {years[0]} to {years[-1]}" if years else ""
    return (
        f"own records: {count_text(len(seasons), 'cycle')}, {count_text(scans, 'reading')}, "
        f"{count_text(came, 'ovulation')}{ends}"
    )
