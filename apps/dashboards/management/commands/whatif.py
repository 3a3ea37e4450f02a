"""``manage.py whatif NAME < in.json > out.json``: ask an engine a question without touching the records.

Exit 0 answered; 2 the question cannot be answered (one line an error on stderr); 1 anything else.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import Any

import orjson
from django.core.management.base import BaseCommand

from apps.core.errors import DomainError, Missing
from apps.core.questions import NotYetAnswered, QuestionError
from apps.dashboards.selectors.what_if import WHAT_IFS
from apps.dashboards.views.what_if import OPTIONS, answer, question_of


class Command(BaseCommand):
    """Ask one engine one question."""

    help = f"Read one JSON question on standard input, write the answer. NAME: {', '.join(WHAT_IFS)}."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The name of the engine's question."""
        parser.add_argument("name", metavar="NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        """Answer, or say on stderr why not."""
        try:
            found = answer(options["name"], question_of(sys.stdin.buffer.read()))
        except Missing as error:
            self.stderr.write(error.message)
            raise SystemExit(1) from None
        except (QuestionError, NotYetAnswered) as error:
            self.stderr.write(str(error))
            raise SystemExit(2) from None
        except DomainError as error:
            self.stderr.write(f"{error.field or '$'}: {error.message}")
            raise SystemExit(2) from None
        self.stdout.write(orjson.dumps(found, option=OPTIONS | orjson.OPT_INDENT_2).decode())
