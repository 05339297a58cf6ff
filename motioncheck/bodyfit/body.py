"""From a cleaned track to a body in metres, with samples that carry its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.bodyfit.axes import find_right, unit
from motioncheck.bodyfit.evidence import (
    BoolArray,
    Evidence,
    collect_evidence,
    first_guess,
    measure_size,
)
from motioncheck.bodyfit.fit import FitResult, SharedPrior, fit_body
from motioncheck.bodyfit.learned import (
    add_learned,
    ask_network,
    compute_strain,
    guess_from_directions,
)
from motioncheck.bodyfit.model import COUNT, GROUPS
from motioncheck.bodyfit.terms import FOCAL, PITCH, ROLL, shared_vector, up_vector
from motioncheck.errors import NoPersonError
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray, set_frozen
from motioncheck.skeleton import JOINTS

SampleArray = npt.NDArray[np.float32]
RowArray = npt.NDArray[np.int64]

SAMPLES: Final = 24
# The uncertainty changes slowly: bodies are drawn at so many instants a second, and at so many in
# all at most, so that memory stays flat.
SAMPLED_HZ: Final = 10.0
MOST_SAMPLED: Final = 2000
# Two nodes and more for each period of the fastest motion that the cleaning left in the track.
NODES_PER_PERIOD: Final = 2.5
WINDOW_NODES: Final = 240
OVERLAP_NODES: Final = 30
MIN_NODES: Final = 5
# While standing, hips and shoulders face the same way, and the wider line tells it better.
FACING_SHOULDER_WEIGHT: Final = 1.0
# Errors of landmarks last for several nodes, which the equations take for independent: standard
# errors are wider by this much; project judgement, coverage checked on rendered bodies.
WIDEN: Final = 2.5
# Errors of roll and pitch that the equations do not know of, degrees; project judgement.
EXTRA_ROLL_DEG: Final = 1.0
EXTRA_PITCH_DEG: Final = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A body over time, in metres up to one scale.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        As in the track.
    joints_m : ndarray, shape (T, 16, 3)
        Joint centres along the person's forward, up and right; up is against gravity, forward is
        level and the way the person faces while standing. The origin is the middle of the hips at
        the first frame; a body of `motioncheck.bodyfit.model.STATURE_M` sets the scale.
    sample_rows : ndarray of int, shape (N,)
        Frames at which bodies were drawn: about ten a second, fewer in long clips.
    samples : ndarray of float32, shape (S, N, 16, 3)
        Bodies drawn from the uncertainty, each in its own axes.
    lengths_m, lengths_sd_m : dict
        Length and standard error of each group of bones.
    azimuth_deg, azimuth_sd_deg : float
        Where the camera stands: 0 in front of the person, 90 at the left side, -180 to 180.
    tilt_deg, tilt_sd_deg : float
        How far the picture must be turned clockwise to stand upright.
    pitch_deg, pitch_sd_deg : float
        How far the lens looks up.
    focal, focal_sd : float
        Focal length in longer sides of the picture.
    cost : float
        Half the weighted sum of squares over nodes, for comparing fits of the same clip.
    nodes, steps : int
        Instants that were solved for, and steps taken.
    notes : tuple of str
        Plain sentences about what the fit lacked.
    """

    time_s: FloatArray
    joints_m: FloatArray
    sample_rows: RowArray
    samples: SampleArray
    lengths_m: dict[str, float]
    lengths_sd_m: dict[str, float]
    azimuth_deg: float
    azimuth_sd_deg: float
    tilt_deg: float
    tilt_sd_deg: float
    pitch_deg: float
    pitch_sd_deg: float
    focal: float
    focal_sd: float
    cost: float
    nodes: int
    steps: int
    notes: tuple[str, ...] = ()
    names: tuple[str, ...] = field(default=JOINTS)

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        set_frozen(self, "joints_m", self.joints_m, (len(self.time_s), COUNT, 3))
        self.samples.setflags(write=False)
        self.sample_rows.setflags(write=False)

    def point(self, name: str) -> FloatArray:
        """Return one joint over time, shape (T, 3), metres."""
        return self.joints_m[:, self.names.index(name)]


@dataclass(slots=True, eq=False)
class _Whole:
    """What the windows of a clip add up to, in camera axes.

    ``joints`` (T, K, 3) and ``upright`` (T,) at the nodes, ``drawn`` (S, N, K, 3) bodies at every
    ``thin``-th node, ``shared`` (S + 1, U) the shared unknowns, first the estimate.
    """

    joints: FloatArray
    upright: BoolArray
    drawn: SampleArray
    thin: int
    shared: FloatArray
    cost: float = 0.0
    steps: int = 0

    def add(self, window: slice, result: FitResult, evidence: Evidence, seed: int) -> None:
        """Take in a window: within an overlap one body turns into the next along a ramp."""
        ramp = np.ones(window.stop - window.start)
        if window.start:
            ramp[:OVERLAP_NODES] = np.linspace(0.0, 1.0, OVERLAP_NODES)
        share = ramp[:, None, None]
        best = result.state.joints
        self.joints[window] = (1.0 - share) * self.joints[window] + share * best
        self.upright[window] = evidence.upright
        moved, difference = result.samples(SAMPLES, seed)
        first = -window.start % self.thin
        wider = WIDEN * compute_strain(evidence, result.state)[first :: self.thin, None, None]
        moved = best[first :: self.thin] + wider * (moved - best)[:, first :: self.thin]
        rows = slice((window.start + first) // self.thin, None)
        old = self.drawn[:, rows][:, : moved.shape[1]]
        share = share[first :: self.thin]
        old[:] = (1.0 - share) * old + share * moved
        self.shared[0] = shared_vector(result.state)
        self.shared[1:] = self.shared[0] + WIDEN * difference
        self.cost += result.cost
        self.steps += result.steps


def fit_track(
    track: CleanTrack, *, node_hz: float | None = None, seed: int = 0, lifted: bool = True
) -> Body:
    """Fit a body to the landmarks of one camera.

    Parameters
    ----------
    track : CleanTrack
        Cleaned with ``visibility_gate=0``: hidden landmarks still help, with a large uncertainty.
        NaN where nobody was found.
    node_hz : float, optional
        Instants a second to solve for; between them the path is a cubic. Default: 2.5 times the
        cutoff of the track.
    seed : int
        Of the samples.
    lifted : bool
        Whether the lifting network helps; without it depth comes from the pose model's own 3-D
        landmarks and the mirror search.

    Returns
    -------
    Body
        No NaN: where nobody was found the body is bridged, and its samples spread.

    Raises
    ------
    NoPersonError
        If too few frames show enough of a body to tell its size.

    Notes
    -----
    Clips of more than 240 nodes are solved in windows that overlap by 30; each window takes
    lengths and camera of the earlier ones as its prior. Cost grows linearly with the frames.
    """
    wanted = node_hz if node_hz is not None else NODES_PER_PERIOD * track.cutoff_hz
    step = max(1, round(track.rate_hz / wanted)) if np.isfinite(track.rate_hz) else 1
    nodes = len(track.time_s[::step])
    if nodes < MIN_NODES or not np.isfinite(measure_size(track).world):
        raise NoPersonError(
            f"expected a body in at least {MIN_NODES} instants to fit bones to, found {nodes} "
            "instants; film the whole body for at least a second."
        )
    # The matrices are small: several threads only wait for each other. Only libraries that are
    # loaded by then can be told.
    import scipy.linalg  # noqa: F401
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1, user_api="blas"):
        whole = _fit_windows(track, step, lifted=lifted, seed=seed)
    return _describe(track, step, whole)


def _windows(nodes: int) -> list[slice]:
    """Cut nodes into windows of about equal size that overlap."""
    count = max(1, int(np.ceil((nodes - OVERLAP_NODES) / (WINDOW_NODES - OVERLAP_NODES))))
    edges = np.linspace(OVERLAP_NODES, nodes, count + 1).round().astype(int)
    if count == 1:
        return [slice(0, nodes)]
    return [slice(int(a) - OVERLAP_NODES, int(b)) for a, b in pairwise(edges)]


def _fit_windows(track: CleanTrack, step: int, *, lifted: bool, seed: int) -> _Whole:
    nodes, size = len(track.time_s[::step]), measure_size(track)
    learned = ask_network(track, size, step=step) if lifted else None
    whole = _begin(nodes, rate_hz=track.rate_hz / step)
    earlier: SharedPrior | None = None
    for number, window in enumerate(_windows(nodes)):
        part = _cut(track, slice(window.start * step, min(window.stop * step, len(track.time_s))))
        evidence = collect_evidence(part, size, step=step)
        start = first_guess(evidence, part, size, step=step)
        if earlier is not None:
            start.log_length, start.log_focal = earlier.mean[:FOCAL].copy(), earlier.mean[FOCAL]
            start.roll, start.pitch = earlier.mean[ROLL], earlier.mean[PITCH]
        if learned is not None:
            evidence = add_learned(evidence, learned.cut(window))
            start = guess_from_directions(evidence, start)
        result = fit_body(evidence, start, earlier=earlier)
        whole.add(window, result, evidence, seed + number)
        earlier = SharedPrior(shared_vector(result.state), result.factor.schur)
        del result  # it holds the equations of its window
    extra = np.radians([EXTRA_ROLL_DEG, EXTRA_PITCH_DEG])
    rng = np.random.default_rng(seed + number + 1)
    whole.shared[1:, [ROLL, PITCH]] += extra * rng.standard_normal((SAMPLES, 2))
    return whole


def _begin(nodes: int, *, rate_hz: float) -> _Whole:
    thin = max(1, -(-nodes // MOST_SAMPLED))
    if np.isfinite(rate_hz):
        thin = max(thin, int(rate_hz / SAMPLED_HZ))
    return _Whole(
        joints=np.zeros((nodes, COUNT, 3)),
        upright=np.zeros(nodes, dtype=np.bool_),
        drawn=np.zeros((SAMPLES, -(-nodes // thin), COUNT, 3), dtype=np.float32),
        thin=thin,
        shared=np.zeros((SAMPLES + 1, FOCAL + 3)),
    )


def _cut(track: CleanTrack, rows: slice) -> CleanTrack:
    return CleanTrack(
        track.time_s[rows],
        track.image_px[rows],
        track.visibility[rows],
        track.world_m[rows],
        track.width_px,
        track.height_px,
        track.rate_hz,
        track.cutoff_hz,
    )


def person_axes(joints: FloatArray, up: FloatArray, upright: BoolArray) -> FloatArray:
    """Return rows forward, up, right in camera axes from where a body faces while standing.

    Parameters
    ----------
    joints : ndarray, shape (T, K, 3)
    up : ndarray, shape (3,)
    upright : ndarray of bool, shape (T,)
        Nodes of standing; all are used when there are none.

    Returns
    -------
    axes : ndarray, shape (3, 3)
    """
    standing = joints[upright] if upright.any() else joints
    rights = find_right(standing, shoulder_weight=FACING_SHOULDER_WEIGHT)
    level = rights.mean(axis=0)
    right = unit(level - (level @ up) * up)
    return np.stack([np.cross(up, right), up, right])


def compute_azimuth(axes: FloatArray) -> float:
    """Return where the camera stands from rows forward, up, right in its axes, degrees."""
    to_camera = np.array([0.0, 0.0, -1.0])
    return float(np.degrees(np.arctan2(-(axes[2] @ to_camera), axes[0] @ to_camera)))


def _describe(track: CleanTrack, step: int, whole: _Whole) -> Body:
    ups = [up_vector(s[ROLL], s[PITCH]) for s in whole.shared]
    axes = person_axes(whole.joints, ups[0], whole.upright)
    placed = whole.joints @ axes.T
    origin = placed[0, 6:8].mean(axis=0)
    thin = whole.upright[:: whole.thin]
    drawn_axes = np.stack(
        [
            person_axes(body.astype(np.float64), up, thin)
            for body, up in zip(whole.drawn, ups[1:], strict=True)
        ]
    )
    samples = np.einsum("sab,stkb->stka", drawn_axes.astype(np.float32), whole.drawn)
    samples -= samples[:, :1, 6:8].mean(axis=2, keepdims=True)
    azimuth = compute_azimuth(axes)
    spread = (np.array([compute_azimuth(a) for a in drawn_axes]) - azimuth + 180.0) % 360.0 - 180.0
    best = whole.shared[0]
    sd = np.sqrt(np.mean((whole.shared[1:] - best) ** 2, axis=0))
    lengths = np.exp(best[:FOCAL])
    return Body(
        time_s=track.time_s,
        joints_m=_between_nodes(track.time_s[::step], placed - origin, track.time_s),
        sample_rows=np.arange(0, len(track.time_s), step * whole.thin)[: samples.shape[1]],
        samples=samples,
        lengths_m={g.name: float(lengths[i]) for i, g in enumerate(GROUPS)},
        lengths_sd_m={g.name: float(lengths[i] * sd[i]) for i, g in enumerate(GROUPS)},
        azimuth_deg=azimuth,
        azimuth_sd_deg=float(np.sqrt(np.mean(spread**2))),
        tilt_deg=float(np.degrees(best[ROLL])),
        tilt_sd_deg=float(np.degrees(sd[ROLL])),
        pitch_deg=float(np.degrees(best[PITCH])),
        pitch_sd_deg=float(np.degrees(sd[PITCH])),
        focal=float(np.exp(best[FOCAL])),
        focal_sd=float(np.exp(best[FOCAL]) * sd[FOCAL]),
        cost=whole.cost,
        nodes=len(whole.joints),
        steps=whole.steps,
        notes=() if whole.upright.any() else ("nobody stands upright: facing from all frames",),
    )


def _between_nodes(nodes_s: FloatArray, values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Interpolate (T, K, 3) by cubics; after the last node the path goes straight on."""
    from scipy.interpolate import CubicSpline

    if len(nodes_s) == len(time_s):
        return values
    inside = np.minimum(time_s, nodes_s[-1])
    result = np.asarray(CubicSpline(nodes_s, values, bc_type="natural")(inside))
    slope = (values[-1] - values[-2]) / (nodes_s[-1] - nodes_s[-2])
    after = (time_s - inside)[:, None, None]
    return np.asarray(result + after * slope)
