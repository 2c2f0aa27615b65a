"""Fits a scanned plan to the site grid, and says how good the points traced on it are.

Pixels count from the top left corner of the picture, y down; the grid has y up. Weighted least
squares; the scatter of the known points widens every range. What little they say of it is joined
with what was assumed as if that rested on PRIOR_DF readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._survey.parts.observation import Floats
from provenance._survey.parts.solve import Bools

SIMILARITY, AFFINE, PROJECTIVE, AUTO = "similarity", "affine", "projective", "auto"
UNKNOWNS = {SIMILARITY: 4, AFFINE: 6, PROJECTIVE: 8}
FEWEST = {SIMILARITY: 2, AFFINE: 3, PROJECTIVE: 5}
"""Known points that a model needs; four fit a photo exactly, so that nothing would check them."""
PRIOR_DF = 4.0
CLICK_SD_PX = 1.0
"""How well a point is hit on the screen. Common practice, no source."""
_AFFINE_FROM = 4
_AFFINE_SHARE, _SUSPECT_SHARE, _OUTSIDE = 0.01, 0.001, 0.05
_NEAREST_PX = 5.0
_NARROWEST = 0.02
"""Points whose spread across is less than this share of that along lie on one line."""
_UNCHECKED = 1e-6
_HORIZON = 0.1
"""Of the divisor of a projective fit, which is 1 amid the known points and 0 at the horizon."""


@dataclass(frozen=True)
class Fit:
    """A plan on the site grid.

    `unknowns` (k,) and `cofactor` (k, k) are for pixels less `middle`, divided by `size`.
    `scatter` is how many times as much as assumed the known points scatter; `redundancy` how many
    readings are more than needed. `residual` (n, 2) in m is the known point minus its fitted place,
    `standard_residual` (n,) its length by its own standard deviation (NaN where nothing checks it).
    `suspects` are the numbers of the points of which one does not fit.
    """

    model: str
    unknowns: Floats
    cofactor: Floats
    middle: Floats
    size: float
    scatter: float
    redundancy: int
    residual: Floats
    standard_residual: Floats
    suspects: tuple[int, ...]

    def on_grid(self, pixels: Floats) -> Floats:
        """Places (n, 2) in m on the site grid."""
        return _places(self.model, self.unknowns, self._scaled(pixels))

    def near_horizon(self, pixels: Floats) -> Bools:
        """Which pixels (n, 2) of a photo lie so far off that its fit says nothing there."""
        return np.asarray(_below(self.model, self.unknowns, self._scaled(pixels)) < _HORIZON)

    def matrix(self) -> Floats:
        """(3, 3): leads a pixel (x, y, 1) to its place on the grid, times the third number."""
        p = self.unknowns
        if self.model == SIMILARITY:
            rows = [[p[2], -p[3], p[0]], [p[3], p[2], p[1]], [0, 0, 1]]
        else:
            below = [p[6], p[7], 1] if self.model == PROJECTIVE else [0, 0, 1]
            rows = [[p[1], p[2], p[0]], [p[4], p[5], p[3]], below]
        x, y = self.middle
        scaled = np.array([[1, 0, -x], [0, -1, y], [0, 0, self.size]]) / self.size
        return np.asarray(np.array(rows) @ scaled, dtype=np.float64)

    def metres_per_pixel(self, pixels: Floats) -> Floats:
        """(n, 2, 2): how the place in m moves with the pixel."""
        scaled, step = self._scaled(pixels), 1e-4
        sides = [
            _places(self.model, self.unknowns, scaled + step * axis)
            - _places(self.model, self.unknowns, scaled - step * axis)
            for axis in np.eye(2)
        ]
        moved: Floats = np.stack(sides, axis=-1) / (2 * step * self.size)
        return moved

    def covariance(self, pixels: Floats, pencil_sd_m: float) -> Floats:
        """(n, 2, 2) in m²: of the fit, of the pencil line and of hitting it on the screen."""
        slope = _slopes(self.model, self.unknowns, self._scaled(pixels))
        moved = self.metres_per_pixel(pixels)
        of_fit: Floats = np.einsum("nik,kl,njl->nij", slope, self.cofactor, slope)
        of_click = CLICK_SD_PX**2 * np.einsum("nik,njk->nij", moved, moved)
        whole: Floats = of_fit + of_click + pencil_sd_m**2 * np.eye(2)
        return self.scatter**2 * whole

    def sd(self, pixels: Floats, pencil_sd_m: float) -> Floats:
        """Standard deviations (n,) in m in the direction in which each point is known least."""
        largest = np.linalg.eigvalsh(self.covariance(pixels, pencil_sd_m))[:, -1]
        return np.sqrt(np.asarray(largest, dtype=np.float64))

    @property
    def times_sd(self) -> float:
        """How many standard deviations hold the true point 95 times in 100, in all directions."""
        return float(np.sqrt(2 * upper_f2(self.redundancy + PRIOR_DF, _OUTSIDE)))

    def radius_95(self, pixels: Floats, pencil_sd_m: float) -> Floats:
        """Radii (n,) in m that hold the true points 95 times in 100."""
        return self.sd(pixels, pencil_sd_m) * self.times_sd

    def turn_deg(self) -> float:
        """How far the picture is turned anticlockwise against the grid, at its known points."""
        right = self.metres_per_pixel(self.middle[None])[0, :, 0]
        return float(np.degrees(np.arctan2(right[1], right[0])))

    def mean_metres_per_pixel(self) -> float:
        """Scale at the known points, the mean of all directions."""
        return float(np.sqrt(abs(np.linalg.det(self.metres_per_pixel(self.middle[None])[0]))))

    def _scaled(self, pixels: Floats) -> Floats:
        return (np.atleast_2d(pixels) - self.middle) / self.size


def upper_f2(df: float, share: float) -> float:
    """The value that F with 2 and `df` degrees of freedom exceeds in this share of cases.

    In closed form because its distribution function is 1 - (1 + 2 x / df) ** (-df / 2).

    >>> round(upper_f2(2, 0.01), 6), round(upper_f2(10, 0.05), 3)
    (99.0, 4.103)
    """
    return df / 2 * (float(share ** (-2 / df)) - 1)


def fit_plan(
    pixels: Floats,
    grid: Floats,
    sd_m: Floats,
    model: str = AUTO,
    *,
    names: Sequence[str] = (),
) -> Fit:
    """Fit known points: `pixels` and `grid` (n, 2), `sd_m` (n,) how well each is known and drawn.

    `names` of the points are for messages.

    'auto' takes one scale in both directions, and from four points on an affine fit (paper that
    shrank in one direction) where the F test at 99 % asks for it. A projective fit (a photo taken
    at an angle) must be asked for.
    Raises UnusableInput when the points are too few, coincide, or lie on one line.
    """
    _refuse_coincident(pixels, grid, sd_m, names or [f"{at + 1}" for at in range(len(pixels))])
    if model != AUTO:
        return _fit(pixels, grid, sd_m, model)
    one = _fit(pixels, grid, sd_m, SIMILARITY)
    if len(pixels) < _AFFINE_FROM or _on_one_line(pixels):
        return one
    two = _fit(pixels, grid, sd_m, AFFINE)
    left, less = (_squares(fit, sd_m) for fit in (one, two))
    df = two.redundancy + PRIOR_DF
    improved = (left - less) / 2 / ((PRIOR_DF + less) / df)
    return two if improved > upper_f2(df, _AFFINE_SHARE) else one


def _squares(fit: Fit, sd_m: Floats) -> float:
    return float(((fit.residual / sd_m[:, None]) ** 2).sum())


def _refuse_coincident(pixels: Floats, grid: Floats, sd_m: Floats, names: Sequence[str]) -> None:
    for one in range(len(pixels)):
        for other in range(one):
            apart = float(np.hypot(*(grid[one] - grid[other])))
            if np.hypot(*(pixels[one] - pixels[other])) < _NEAREST_PX or (
                apart < 4 * max(sd_m[one], sd_m[other])
            ):
                raise UnusableInput(
                    f"known points {names[other]} and {names[one]} lie on one another, or only "
                    f"{apart:.2f} m apart, which does not give the scale; choose others, far from "
                    "each other"
                )


def _on_one_line(pixels: Floats) -> bool:
    spread = np.linalg.svd(pixels - pixels.mean(axis=0), compute_uv=False)
    return bool(spread[1] < _NARROWEST * spread[0])


def _fit(pixels: Floats, grid: Floats, sd_m: Floats, model: str) -> Fit:
    n, k = len(pixels), UNKNOWNS[model]
    if n < FEWEST[model]:
        raise UnusableInput(
            f"a {model} fit needs {FEWEST[model]} known points or more, and {n} "
            f"{'is' if n == 1 else 'are'} marked; mark more"
        )
    if model != SIMILARITY and _on_one_line(pixels):
        raise UnusableInput(
            f"the known points lie on one line, which leaves a {model} fit open; mark one off it"
        )
    middle = pixels.mean(axis=0)
    size = float(np.sqrt(((pixels - middle) ** 2).sum(axis=1).mean()))
    scaled = (pixels - middle) / size
    weight = np.repeat(1 / sd_m, 2)
    unknowns = np.zeros(k)
    if model == PROJECTIVE:
        unknowns[:6] = _fit(pixels, grid, sd_m, AFFINE).unknowns
    for _ in range(50):
        design = _slopes(model, unknowns, scaled).reshape(2 * n, k) * weight[:, None]
        gap = (grid - _places(model, unknowns, scaled)).ravel() * weight
        step = np.linalg.lstsq(design, gap, rcond=None)[0]
        unknowns = unknowns + step
        if np.abs(step).max() < 1e-10 * max(1.0, np.abs(unknowns).max()):
            break
    design = _slopes(model, unknowns, scaled).reshape(2 * n, k) * weight[:, None]
    below = _below(model, unknowns, scaled)
    if np.linalg.cond(design) > 1e6 or not np.isfinite(unknowns).all() or (below < _HORIZON).any():
        raise UnusableInput(
            f"a {model} fit of these known points has no solution; three of four on one line, or "
            "one marked in the wrong place, can cause this. Mark others, well spread over the plan"
        )
    cofactor = np.asarray(np.linalg.inv(design.T @ design), dtype=np.float64)
    residual = grid - _places(model, unknowns, scaled)
    left = residual.ravel() * weight
    redundancy = 2 * n - k
    scatter = float(np.sqrt((PRIOR_DF + left @ left) / (PRIOR_DF + redundancy)))
    explained = _explained(design, cofactor, left.reshape(n, 2))
    return Fit(
        model=model,
        unknowns=unknowns,
        cofactor=cofactor,
        middle=middle,
        size=size,
        scatter=scatter,
        redundancy=redundancy,
        residual=residual,
        standard_residual=np.sqrt(explained) / scatter,
        suspects=_suspects(explained, float(left @ left), redundancy),
    )


def _explained(design: Floats, cofactor: Floats, left: Floats) -> Floats:
    """By how much the sum of squares falls when each point in turn is left out (n,)."""
    found = np.full(len(left), np.nan)
    for at, mine in enumerate(left):
        rows = design[2 * at : 2 * at + 2]
        free = np.eye(2) - rows @ cofactor @ rows.T
        if np.linalg.eigvalsh(free)[0] > _UNCHECKED:
            found[at] = mine @ np.linalg.solve(free, mine)
    return found


def _suspects(explained: Floats, squares: float, redundancy: int) -> tuple[int, ...]:
    """The points that explain the misfit best; of several alike nobody can tell which it is.

    The F test of two more unknowns, the shift of one point (Cook and Weisberg 1982, from memory).
    """
    df = redundancy - 2 + PRIOR_DF
    if redundancy < 2 or np.isnan(explained).all():
        return ()
    without = np.maximum(squares - explained, 0.0)
    test = np.nan_to_num(explained / 2 / ((PRIOR_DF + without) / df))
    if test.max() < upper_f2(df, _SUSPECT_SHARE):
        return ()
    return tuple(int(at) for at in np.flatnonzero(test > 0.95 * test.max()))


def _below(model: str, p: Floats, scaled: Floats) -> Floats:
    """What a projective fit divides by; 1 at the middle of the known points, 0 at the horizon."""
    if model != PROJECTIVE:
        return np.ones(len(scaled))
    return np.asarray(1 + p[6] * scaled[:, 0] - p[7] * scaled[:, 1])


def _places(model: str, p: Floats, scaled: Floats) -> Floats:
    x, y = scaled[:, 0], -scaled[:, 1]
    if model == SIMILARITY:
        return np.column_stack([p[0] + p[2] * x - p[3] * y, p[1] + p[3] * x + p[2] * y])
    top = np.column_stack([p[0] + p[1] * x + p[2] * y, p[3] + p[4] * x + p[5] * y])
    return np.asarray(top / _below(model, p, scaled)[:, None])


def _slopes(model: str, p: Floats, scaled: Floats) -> Floats:
    """Derivatives (n, 2, k) of the places by the unknowns."""
    x, y = scaled[:, 0], -scaled[:, 1]
    one, nil = np.ones(len(x)), np.zeros(len(x))
    if model == SIMILARITY:
        rows = ([one, nil, x, -y], [nil, one, y, x])
    else:
        rows = ([one, x, y, nil, nil, nil], [nil, nil, nil, one, x, y])
    slopes = np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
    if model != PROJECTIVE:
        return slopes
    places = _places(model, p, scaled)
    bend = -places[:, :, None] * np.column_stack([x, y])[:, None, :]
    whole = np.concatenate([slopes, bend], axis=2)
    return np.asarray(whole / _below(model, p, scaled)[:, None, None])
