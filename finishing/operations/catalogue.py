"""The one list of operations. A new operation is a new file beside this one and a line here."""

from finishing.operation import Operation
from finishing.operations.edge_vignette import EdgeVignette
from finishing.operations.exposure import Exposure
from finishing.operations.hue_isolation import HueIsolation
from finishing.operations.saturation import Saturation
from finishing.operations.split_tone import SplitTone
from finishing.operations.tone_curve import ToneCurve

OPERATIONS: dict[str, type[Operation]] = {
    operation.name: operation
    for operation in (
        Exposure,
        ToneCurve,
        EdgeVignette,
        HueIsolation,
        Saturation,
        SplitTone,
    )
}
