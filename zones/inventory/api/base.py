"""What the inventory's API shares: paging over plain values, parameters out of filters."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.paging import NumberedPages
from projectsite.core.scope import Scope
from zones.inventory.filters import Parameter, Read, read
from zones.inventory.serializers import VersionIn

_TYPES: dict[str, Any] = {
    "text": OpenApiTypes.STR,
    "choice": OpenApiTypes.STR,
    "number": OpenApiTypes.INT,
    "yes": OpenApiTypes.BOOL,
}


_LAST_PAGE = 1_000_000


class InventoryViewSet(ViewSet):
    """Base: a scope from the address, lists in numbered pages."""

    pagination_class = NumberedPages

    def scope(self, request: Request, action: Action = Action.SEE) -> Scope:
        """Decide whether the caller may do this in the project of the address."""
        return scope_for(request, self.kwargs["project_key"], action)

    def asked(self, request: Request, parameters: tuple[Parameter, ...]) -> Read:
        """Filters of the address; what can't be understood is refused."""
        return read(request.query_params, parameters).strict()

    def version_in(self, data: Mapping[str, Any]) -> int:
        """Version that a change names; a change without one is refused."""
        if "version" not in data:
            message = "Send the version that you saw, so that nothing is overwritten."
            raise InvalidInput(message, fields={"version": message})
        return int(data["version"])

    def optional_version(self, request: Request) -> int | None:
        """Version that an act names, or None to act on whatever stands."""
        given = VersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        version: int | None = given.validated_data.get("version")
        return version


def paged_once(
    request: Request, fetch: Callable[[int, int], tuple[int, Sequence[Any]]]
) -> Response:
    """Answer with one page of rows that are counted by the query that reads them.

    The answer is that of ``paged``.
    """
    pages = NumberedPages()
    size = pages.get_page_size(request) or pages.page_size
    number = request.query_params.get(pages.page_query_param, "1")
    if not (number.isascii() and number.isdigit() and 0 < int(number) < _LAST_PAGE):
        raise NotFound("There is no such page.")
    start = (int(number) - 1) * size
    total, rows = fetch(start, size)
    if start and start >= total:
        raise NotFound("There is no such page.")
    address = request.build_absolute_uri()

    def link(page: int) -> str:
        return replace_query_param(address, pages.page_query_param, page)

    return Response(
        {
            "count": total,
            "next": link(int(number) + 1) if start + size < total else None,
            "previous": link(int(number) - 1) if start else None,
            "results": rows,
        }
    )


def described(
    parameters: tuple[Parameter, ...], sorts: Sequence[str] = ()
) -> list[OpenApiParameter]:
    """Filters and orders for the description of a list."""
    listed = [
        OpenApiParameter(p.name, _TYPES[p.type], description=p.help, enum=p.choices or None)
        for p in parameters
    ]
    if sorts:
        orders = [order for key in sorts for order in (key, f"-{key}")]
        words = "Order; - in front for downwards."
        listed.append(OpenApiParameter("sort", str, description=words, enum=orders))
    return listed
