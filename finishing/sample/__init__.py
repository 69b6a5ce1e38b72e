"""The renderer of the sample session: an invented evening in an orchard, drawn so that its light obeys the sums.

`write_sample` draws the session into a folder. `components` and `photograph` show a frame's light part by part:
the ambient as a radiance and each strobe head as an exposure, whose sum is the frame.
"""

from finishing.sample.drawing import components, material_map, photograph
from finishing.sample.writer import write_sample

__all__ = ["components", "material_map", "photograph", "write_sample"]
