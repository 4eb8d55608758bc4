"""Compute a registered formula from the command line; needs no database."""

from __future__ import annotations

import argparse
import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from projectsite.core import calculators, formulas
from projectsite.core.errors import ApplicationError


class Command(BaseCommand):
    """Field calculators: ``calculate k-from-reading measured="540 cfm" ...``."""

    help = (
        'Compute a formula: calculate NAME key="value unit" ... ; lists as '
        'key="0.010,0.040 inH2O". "calculate --list" names the formulas and their inputs.'
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a name, inputs, and how to show the result."""
        parser.add_argument("name", nargs="?", help="formula to compute")
        parser.add_argument(
            "inputs", nargs="*", metavar='key="value unit"', help="inputs of the formula"
        )
        parser.add_argument(
            "--units",
            choices=("ip", "si"),
            default="ip",
            help="units of the result and of bare numbers: inch-pound (unless said) or SI",
        )
        parser.add_argument("--json", action="store_true", help="print JSON")
        parser.add_argument(
            "--list", action="store_true", dest="list_all", help="describe the formulas"
        )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Let options stand anywhere and write the help as it is."""
        kwargs.setdefault("formatter_class", argparse.RawDescriptionHelpFormatter)
        return super().create_parser(prog_name, subcommand, **kwargs)

    def handle(self, *args: Any, **options: Any) -> None:
        """Compute and print, or describe the formulas."""
        del args
        try:
            if options["list_all"]:
                self._describe(options["name"], as_json=options["json"])
            else:
                self._compute(options)
        except ApplicationError as error:
            raise CommandError(" ".join(error.message.split()), returncode=1) from error

    def _compute(self, options: dict[str, Any]) -> None:
        if not options["name"]:
            raise CommandError("Which formula? “calculate --list” names them.")
        given: dict[str, object] = {}
        for pair in options["inputs"]:
            key, equals, value = pair.partition("=")
            if not equals or not key.strip():
                raise CommandError(f'“{pair}” is no input; write key="value unit".')
            if key.strip() in given:
                raise CommandError(f"{key.strip()} is given twice.")
            given[key.strip()] = value
        answer = calculators.calculate(options["name"], given, options["units"])
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2))
            return
        for key, output in answer["outputs"].items():
            if output["value"] is not None:
                self.stdout.write(f"{key} = {_plain(output['value'])} {output['unit']}".rstrip())
        for title in ("working", "warnings"):
            if answer[title]:
                self.stdout.write(f"{title.capitalize()}:")
                for line in answer[title]:
                    self.stdout.write(f"  {line}")
        self.stdout.write(f"Reference: {answer['reference']}")

    def _describe(self, name: str | None, *, as_json: bool) -> None:
        chosen = [calculators.find(name)] if name else formulas.all_formulas()
        described = [calculators.describe(formula) for formula in chosen]
        if as_json:
            self.stdout.write(json.dumps(described, ensure_ascii=False, indent=2))
            return
        for formula in described:
            self.stdout.write(f"{formula['name']}: {formula['summary']}")
            for item in formula["inputs"]:
                unit = " or ".join(dict.fromkeys(filter(None, (item["unit_ip"], item["unit_si"]))))
                unit = ", ".join(item["choices"]) or unit
                notes = [unit] if unit else []
                notes += ["list"] if item["list"] else []
                notes += [] if item["required"] else ["may be left out"]
                told = f" ({'; '.join(notes)})" if notes else ""
                self.stdout.write(f"  {item['key']}: {item['label']}{told}")


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_plain(entry) for entry in value)
    return f"{value:.6g}" if isinstance(value, (int, float)) else str(value)
