"""What a table is declared with: columns, selection and the empty state."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

from django.utils.safestring import SafeString

from projectsite.core.quantities import KINDS

Align = Literal["", "left", "right", "center"]
_RIGHT = {"count", "figure"}
_DEFAULT_WIDTH = {"": 18.0, "mark": 16.0, "time": 16.0, "date": 11.0, "yes": 6.0}


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    key
        Key or attribute of the row, unless ``value`` is given.
    label
        Heading; the unit is added for quantities.
    kind
        A kind of quantity (values in SI), or "" text, "count" whole number, "figure" number
        printed as it is, "date", "time", "yes" yes or no, "mark" a ``Mark`` or None.
    value
        Gives the cell's value from the row.
    sort
        Key of the order in the address; "" when the column can't be ordered by.
    group
        First line of the heading, where neighbouring columns belong together ("Cooling").
    width
        Width in characters, for workbooks and documents; 0 takes one that suits the kind.
    flag
        Tells for a row whether the cell disagrees: red ink, a diamond and a spoken word.
    link
        Gives the address that the cell leads to, or ""; a cell drawn by ``html`` makes its own.
    html
        Draws the cell of the page itself (safe markup); exports still use the value.
    priority
        1 stands on every screen, 2 not on phones, 3 only on wide screens.
    total
        Gives the foot of the column from its values, in the same kind.
    """

    key: str
    label: str
    kind: str = ""
    value: Callable[[Any], Any] | None = None
    sort: str = ""
    align: Align = ""
    group: str = ""
    width: float = 0.0
    flag: Callable[[Any], bool] | None = None
    link: Callable[[Any], str] | None = None
    html: Callable[[Any], SafeString] | None = None
    priority: Literal[1, 2, 3] = 1
    total: Callable[[Sequence[Any]], Any] | None = None

    @property
    def is_quantity(self) -> bool:
        """Tell whether the values are SI numbers of a kind."""
        return self.kind in KINDS

    @property
    def lowered(self) -> str:
        """Label as it stands behind its group; an acronym keeps its capitals."""
        is_word = self.label[1:2].islower()
        return self.label[:1].lower() + self.label[1:] if is_word else self.label

    @property
    def title(self) -> str:
        """Whole heading: "Cooling maximum"."""
        return f"{self.group} {self.lowered}" if self.group else self.label

    @property
    def side(self) -> Align:
        """Where the cell's text stands: numbers to the right."""
        return self.align or ("right" if self.is_quantity or self.kind in _RIGHT else "left")

    @property
    def classes(self) -> str:
        """Classes of the column's cells."""
        side = {"right": "n", "center": "c"}.get(self.side, "")
        return " ".join(filter(None, (side, f"p{self.priority}" if self.priority > 1 else "")))

    @property
    def characters(self) -> float:
        """Width in characters."""
        return self.width or _DEFAULT_WIDTH.get(self.kind, 10.0)


@dataclass(frozen=True, slots=True)
class Empty:
    """What an empty table says: what is missing, and what to do first."""

    title: str
    text: str = ""
    address: str = ""
    action: str = ""

    def html(self) -> str:
        """Markup of the empty state."""
        text = f"<p>{escape(self.text)}</p>" if self.text else ""
        address = escape(self.address)
        act = f'<p><a class="btn" href="{address}">{escape(self.action)}</a></p>' if address else ""
        return f'<div class="empty"><p class="what">{escape(self.title)}</p>{text}{act}</div>'


@dataclass(frozen=True, slots=True)
class Selection:
    """Check boxes in front of the rows: field name, value and spoken name of each row.

    ``form`` is the id of the form that acts on the chosen rows.
    """

    name: str
    value: Callable[[Any], Any]
    label: Callable[[Any], str]
    form: str = ""
