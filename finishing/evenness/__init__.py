"""Evening out: what has to be done to the frames of a set-up so that they look like one session.

Arithmetic and measuring on arrays: no files, no sessions. A frame's correction is a gain in stops and a 3×3 matrix in
linear working light.
"""
