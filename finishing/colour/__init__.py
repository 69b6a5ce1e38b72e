"""Colour as pure functions on arrays: transfer functions, colour spaces, OkLab, ICC profiles.

The working space of the whole program is linear light with sRGB/Rec. 709 primaries and the D65
white point, unbounded: values below 0 and above 1 are real and are kept.
"""
