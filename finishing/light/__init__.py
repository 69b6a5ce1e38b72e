"""Strobe and ambient, taken apart and put together anew.

Light adds, and the shutter moves the ambient alone: frames of one scene with the same aperture and ISO and different
shutters, I_k = t_k A + S, give the ambient A and the strobe S of every pixel. Arithmetic on arrays; no files.
"""
