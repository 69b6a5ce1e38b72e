"""The one list of regions. A new region is a new file beside this one and a line here."""

from typing import Any

from finishing.regions.box import Box
from finishing.regions.combined import AllOf, AnyOf, Not
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.hue import HueRange
from finishing.regions.mask import FrameMask, SubjectMask
from finishing.regions.near import Near
from finishing.regions.polygon import Polygon
from finishing.regions.radial import Radial
from finishing.regions.ranges import ChromaRange, LightnessRange
from finishing.regions.region import Region
from finishing.regions.skin import Skin

REGIONS: dict[str, type[Region]] = {
    region.name: region
    for region in (
        Ellipse,
        Near,
        Box,
        Polygon,
        Gradient,
        Radial,
        HueRange,
        LightnessRange,
        ChromaRange,
        Skin,
        SubjectMask,
        FrameMask,
        AllOf,
        AnyOf,
        Not,
    )
}


def stands_alone(region: type[Region]) -> bool:
    """Whether its name alone says enough: `where: skin`."""
    return not region.short and not any(field.is_required() for field in region.model_fields.values())


def where_schema() -> dict[str, Any]:
    """JSON Schema of what stands behind `where`; regions inside regions refer to it as #/$defs/where."""
    alone = [name for name, region in REGIONS.items() if stands_alone(region)]
    properties: dict[str, Any] = {}
    for name, region in REGIONS.items():
        forms = [region.short_schema] if region.short_schema else [{"enum": ["yes", True]}]
        if issubclass(region, AllOf | AnyOf | Not):
            properties[name] = {"description": region.summary, **region.short_schema}
            continue
        properties[name] = {"description": region.summary, "anyOf": [*forms, region.model_json_schema()]}
    mapping = {"type": "object", "properties": properties, "additionalProperties": False, "minProperties": 1}
    return {"anyOf": [{"enum": alone}, mapping]}
