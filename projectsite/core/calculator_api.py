"""API of the field calculators."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from projectsite.core import formulas
from projectsite.core.calculators import calculate, describe, find

SYSTEMS = (("ip", "inch-pound"), ("si", "SI"))


class ShownUnitsSerializer(serializers.Serializer[Any]):
    """Unit in which a quantity is answered, by unit system; both absent when it has none."""

    ip = serializers.CharField(required=False)
    si = serializers.CharField(required=False)


class CalculatorOutputSerializer(serializers.Serializer[Any]):
    """An output of a formula."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field may bear this name
    kind = serializers.CharField(allow_blank=True, help_text="Kind of quantity, or empty.")
    is_list = serializers.BooleanField()
    units = ShownUnitsSerializer()


class CalculatorInputSerializer(CalculatorOutputSerializer):
    """An input of a formula."""

    required = serializers.BooleanField()  # type: ignore[assignment]  # a field may bear this name
    choices = serializers.ListField(child=serializers.CharField())
    default = serializers.JSONField(allow_null=True)
    default_unit = serializers.CharField(allow_blank=True)
    accepted_units = serializers.ListField(child=serializers.CharField())
    help = serializers.CharField(allow_blank=True)


class CalculatorSerializer(serializers.Serializer[Any]):
    """A registered formula: inputs, outputs, units and reference."""

    name = serializers.CharField()
    title = serializers.CharField()
    summary = serializers.CharField()
    inputs = CalculatorInputSerializer(many=True)
    outputs = CalculatorOutputSerializer(many=True)
    reference = serializers.CharField()
    mark = serializers.CharField(help_text="How well the source is known.")
    cautions = serializers.ListField(child=serializers.CharField())


class ComputeSerializer(serializers.Serializer[Any]):
    """Inputs by key: text with a unit ("350 cfm"), a number in SI, or a list of either."""

    units = serializers.ChoiceField(SYSTEMS, default="ip", help_text="Units of the answer.")
    inputs = serializers.DictField(child=serializers.JSONField(allow_null=True))


class AmountSerializer(serializers.Serializer[Any]):
    """A value with its unit; the value is a number, a word, yes or no, a list, or null."""

    value = serializers.JSONField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)


class CalculationSerializer(serializers.Serializer[Any]):
    """A computed formula with its working."""

    name = serializers.CharField()
    inputs = serializers.DictField(child=AmountSerializer())
    outputs = serializers.DictField(child=AmountSerializer())
    working = serializers.ListField(child=serializers.CharField())
    reference = serializers.CharField()
    warnings = serializers.ListField(child=serializers.CharField())


class CalculatorsApi(GenericViewSet[Any]):
    """The field calculators."""

    serializer_class = CalculatorSerializer

    @extend_schema(operation_id="calculators_list", responses=CalculatorSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Every formula, by name."""
        del request
        rows = self.paginate_queryset(formulas.all_formulas())
        return self.get_paginated_response([describe(formula) for formula in rows or ()])

    def retrieve(self, request: Request, name: str) -> Response:
        """One formula."""
        del request
        return Response(describe(find(name)))

    @extend_schema(request=ComputeSerializer, responses=CalculationSerializer)
    def compute(self, request: Request, name: str) -> Response:
        """Compute the formula."""
        find(name)
        given = ComputeSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        values = given.validated_data
        return Response(calculate(name, values["inputs"], system=values["units"]).as_dict())
