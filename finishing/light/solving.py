"""Ambient and strobe of a pixel from its values in several frames: non-negative weighted least squares.

Frame k saw v_k = t_k a + f_k s: t_k its shutter time over that of the first frame, f_k 1 where the strobes fired, else
0; a and s the ambient and the strobe as they lit the first frame. With weights w_k = 1/variance the normal equations'
determinant is, by Cauchy and Binet, a sum over pairs of frames,

    D = Σ_{j<k} w_j w_k d_jk²,   d_jk = t_j f_k − t_k f_j,
    a = Σ_{j<k} w_j w_k d_jk (f_k v_j − f_j v_k) / D,
    s = Σ_{j<k} w_j w_k d_jk (t_j v_k − t_k v_j) / D,

in which nothing cancels: float32 is enough. Where a or s comes out below 0 the least squares under a, s ≥ 0 lie on
that border (the sum of squares is convex): of the two borders the one with the smaller sum is taken
(Lawson and Hanson, "Solving Least Squares Problems", 1974, chapter 23, for two unknowns).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, TWO, ZERO, compiled

Planes = NDArray[np.float32]

NAN, INFINITE = np.float32(np.nan), np.float32(np.inf)


@compiled
def weigh(values: Any, white: Any, floor: Any, per_light: Any, per_square: Any, weights: Any) -> None:
    """1/variance of every value; 0 for what is clipped or was not seen. values, weights: (frames, 3, rows, width);
    white: (frames, 3)."""
    for frame in range(values.shape[0]):
        for channel in range(3):
            limit = white[frame, channel]
            for row in range(values.shape[2]):
                line, out = values[frame, channel, row], weights[frame, channel, row]
                for x in range(values.shape[3]):
                    value = line[x]
                    light = max(value, ZERO)
                    weight = ONE / (floor + light * (per_light + light * per_square))
                    out[x] = weight if value < limit else ZERO


@compiled
def solve(values: Any, weights: Any, times: Any, fired: Any, ambient: Any, strobe: Any) -> None:
    """The law above. values, weights: (frames, 3, rows, width), values of weight 0 may be NaN; times, fired: float32
    (frames,); ambient, strobe: (3, rows, width), filled; NaN where the frames that count do not tell the two apart."""
    frames, width = values.shape[0], values.shape[3]
    total = np.empty(width, np.float32)
    tt, ff = np.empty(width, np.float32), np.empty(width, np.float32)
    tv, fv = np.empty(width, np.float32), np.empty(width, np.float32)
    for channel in range(3):
        for row in range(values.shape[2]):
            a, s = ambient[channel, row], strobe[channel, row]
            for x in range(width):
                a[x] = ZERO
                s[x] = ZERO
                total[x] = ZERO
                tt[x] = ZERO
                ff[x] = ZERO
                tv[x] = ZERO
                fv[x] = ZERO
            for k in range(frames):
                t, f = times[k], fired[k]
                w, v = weights[k, channel, row], values[k, channel, row]
                for x in range(width):
                    value = v[x] if w[x] > ZERO else ZERO
                    tt[x] += w[x] * t * t
                    ff[x] += w[x] * f * f
                    tv[x] += w[x] * t * value
                    fv[x] += w[x] * f * value
                for j in range(k):
                    d = times[j] * f - t * fired[j]
                    t0, f0 = times[j], fired[j]
                    w0, v0 = weights[j, channel, row], values[j, channel, row]
                    for x in range(width):
                        pair = w0[x] * w[x] * d
                        first = v0[x] if w0[x] > ZERO else ZERO
                        second = v[x] if w[x] > ZERO else ZERO
                        total[x] += pair * d
                        a[x] += pair * (f * first - f0 * second)
                        s[x] += pair * (t0 * second - t * first)
            for x in range(width):
                known = total[x] > ZERO
                per = ONE / total[x]
                free_a, free_s = a[x] * per, s[x] * per
                only_s = max(fv[x] / ff[x], ZERO)
                only_a = max(tv[x] / tt[x], ZERO)
                # what each border takes off the sum of squares: the larger wins
                gain_s = only_s * (TWO * fv[x] - ff[x] * only_s)
                gain_a = only_a * (TWO * tv[x] - tt[x] * only_a)
                inside = (free_a >= ZERO) and (free_s >= ZERO)
                ambient_wins = gain_a >= gain_s
                a_value = free_a if inside else (only_a if ambient_wins else ZERO)
                s_value = free_s if inside else (ZERO if ambient_wins else only_s)
                a[x] = a_value if known else NAN
                s[x] = s_value if known else NAN


@compiled
def doubt(weights: Any, times: Any, fired: Any, ambient_variance: Any, strobe_variance: Any, covariance: Any) -> None:
    """Variances and covariance of a and s by error propagation, the inverse of the normal matrix: (3, rows, width).
    Where the frames do not tell the two apart the variances are infinite and the covariance is 0."""
    for channel in range(3):
        for row in range(weights.shape[2]):
            for x in range(weights.shape[3]):
                tt, ff, tf, total = ZERO, ZERO, ZERO, ZERO
                for k in range(weights.shape[0]):
                    w = weights[k, channel, row, x]
                    tt += w * times[k] * times[k]
                    ff += w * fired[k] * fired[k]
                    tf += w * times[k] * fired[k]
                    for j in range(k):
                        d = times[j] * fired[k] - times[k] * fired[j]
                        total += weights[j, channel, row, x] * w * d * d
                per = ONE / total if total > ZERO else INFINITE
                ambient_variance[channel, row, x] = ff * per if ff > ZERO else per
                strobe_variance[channel, row, x] = tt * per if tt > ZERO else per
                covariance[channel, row, x] = -tf * per if total > ZERO else ZERO


@compiled
def misfit(values: Any, weights: Any, times: Any, fired: Any, ambient: Any, strobe: Any, out: Any) -> None:
    """Σ_k w_k (v_k − t_k a − f_k s)², summed over the channels: (rows, width). Where a channel has no solution its part
    is 0."""
    for row in range(out.shape[0]):
        for x in range(out.shape[1]):
            square = ZERO
            for channel in range(3):
                a, s = ambient[channel, row, x], strobe[channel, row, x]
                if a == a:
                    for k in range(values.shape[0]):
                        w = weights[k, channel, row, x]
                        if w > ZERO:
                            off = values[k, channel, row, x] - times[k] * a - fired[k] * s
                            square += w * off * off
            out[row, x] = square
