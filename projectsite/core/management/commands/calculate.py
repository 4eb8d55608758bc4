"""Compute a registered formula from the command line; needs no database."""

from __future__ import annotations

from typing import Any, cast

import orjson
from django.core.management.base import BaseCommand, CommandError, CommandParser

from projectsite.core import calculators, formulas
from projectsite.core.errors import ApplicationError
from projectsite.core.scope import UnitSystem


class Command(BaseCommand):
    """Field calculators without a browser."""

    help = (
        "Compute a formula: calculate k-from-reading k_as_found='900 cfm at 1 in. w.c.' "
        "measured='540 cfm' reported='600 cfm'. Lists: sensed_pressure='0.010,0.040 inH2O'."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the arguments."""
        parser.add_argument("name", nargs="?", help="name of the formula")
        parser.add_argument("inputs", nargs="*", metavar='key="value unit"')
        parser.add_argument("--units", choices=("ip", "si"), default="ip", help="units to read in")
        parser.add_argument("--json", action="store_true", help="answer in JSON")
        parser.add_argument(
            "--list", action="store_true", help="list the formulas and their inputs"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Compute or list."""
        del args
        system = cast("UnitSystem", options["units"])
        if options["list"]:
            self._list(as_json=options["json"])
            return
        if not options["name"]:
            raise CommandError("Name a formula, or use --list to see them.")
        given: dict[str, calculators.Given] = {}
        for pair in options["inputs"]:
            key, equals, value = pair.partition("=")
            if not equals:
                raise CommandError(f'“{pair}” is not of the form key="value unit".')
            if key in given:
                raise CommandError(f"“{key}” is given twice.")
            given[key] = value
        try:
            answer = calculators.calculate(options["name"], given, system=system)
        except ApplicationError as refusal:
            # One line, so that a script can show it.
            raise CommandError(" ".join(refusal.message.split())) from refusal
        if options["json"]:
            self.stdout.write(_json(answer.as_dict()))
        else:
            self._print(answer)

    def _list(self, *, as_json: bool) -> None:
        described = [calculators.describe(formula) for formula in formulas.all_formulas()]
        if as_json:
            self.stdout.write(_json(described))
            return
        for formula in described:
            self.stdout.write(f"{formula['name']}: {formula['title']}")
            for item in formula["inputs"]:
                shown = " or ".join(dict.fromkeys(item["units"].values()))
                words = [shown or "|".join(item["choices"])]
                words += ["several by comma"] if item["is_list"] else []
                words += [] if item["required"] else ["optional"]
                told = ", ".join(word for word in words if word) or "a number"
                self.stdout.write(f"    {item['key']}  {item['label']} ({told})")

    def _print(self, answer: calculators.Calculation) -> None:
        self.stdout.write(answer.formula.title)
        for amount in answer.outputs:
            if amount.value is None:
                continue
            self.stdout.write(f"  {amount.label}: {amount.text}")
        for line in answer.working:
            self.stdout.write(f"    {line}")
        for warning in (*answer.formula.cautions, *answer.warnings):
            self.stdout.write(f"  Note: {warning}")
        self.stdout.write(f"  Reference: {answer.formula.reference} ({answer.formula.mark})")


def _json(value: Any) -> str:
    return orjson.dumps(value, option=orjson.OPT_INDENT_2).decode()
