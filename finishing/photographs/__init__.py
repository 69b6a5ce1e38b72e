"""Image files: the only place that knows file formats, bit depth, colour profiles, EXIF and XMP.

Reading gives a `Photograph` (codes as stored, and what light they mean); writing takes codes and metadata.
"""
