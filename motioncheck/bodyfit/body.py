"""From a cleaned track to a body in metres, with samples that carry its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.bodyfit.axes import find_right, unit
from motioncheck.bodyfit.evidence import BoolArray, collect_evidence, first_guess, measure_size
from motioncheck.bodyfit.fit import FitResult, SharedPrior, fit_body
from motioncheck.bodyfit.learned import add_learned, ask_network, guess_from_directions
from motioncheck.bodyfit.model import COUNT, GROUPS, JOINTS
from motioncheck.bodyfit.terms import FOCAL, PITCH, ROLL, shared_vector, up_vector
from motioncheck.errors import NoPersonError
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray, set_frozen

SampleArray = npt.NDArray[np.float32]

SAMPLES: Final = 24
# Two nodes and more for each period of the fastest motion that the cleaning left in the track.
NODES_PER_PERIOD: Final = 2.5
WINDOW_NODES: Final = 600
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
    samples : ndarray of float32, shape (S, T, 16, 3)
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

    def point(self, name: str) -> FloatArray:
        """Return one joint over time, shape (T, 3), metres."""
        return self.joints_m[:, self.names.index(name)]


@dataclass(slots=True)
class _Draws:
    """Bodies at the nodes in camera axes (first one: the estimate), and their shared unknowns."""

    joints: FloatArray
    shared: FloatArray


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
    Clips of more than 600 nodes are solved in windows that overlap by 30; each window takes
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
    # The matrices are small: several threads only wait for each other.
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1, user_api="blas"):
        results, uprights = _fit_windows(track, step, lifted=lifted)
    draws = _join(results, seed)
    upright = np.concatenate([u[OVERLAP_NODES if i else 0 :] for i, u in enumerate(uprights)])
    return _describe(track, step, results, draws, upright)


def _windows(nodes: int) -> list[slice]:
    """Cut nodes into windows of about equal size that overlap."""
    count = max(1, int(np.ceil((nodes - OVERLAP_NODES) / (WINDOW_NODES - OVERLAP_NODES))))
    edges = np.linspace(OVERLAP_NODES, nodes, count + 1).round().astype(int)
    if count == 1:
        return [slice(0, nodes)]
    return [slice(int(a) - OVERLAP_NODES, int(b)) for a, b in pairwise(edges)]


def _fit_windows(
    track: CleanTrack, step: int, *, lifted: bool
) -> tuple[list[FitResult], list[BoolArray]]:
    nodes, size = len(track.time_s[::step]), measure_size(track)
    learned = ask_network(track, size, step=step) if lifted else None
    results: list[FitResult] = []
    uprights: list[BoolArray] = []
    earlier: SharedPrior | None = None
    for window in _windows(nodes):
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
        results.append(result)
        uprights.append(evidence.upright)
        earlier = SharedPrior(shared_vector(result.state), result.factor.schur)
    return results, uprights


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


def _join(results: list[FitResult], seed: int) -> _Draws:
    """Blend the windows: within an overlap one body turns into the next along a ramp."""
    joints: FloatArray | None = None
    shared = np.zeros((SAMPLES + 1, FOCAL + 3))
    for number, result in enumerate(results):
        moved, difference = result.samples(SAMPLES, seed + number)
        moved = result.state.joints + WIDEN * (moved - result.state.joints)
        here = np.concatenate([result.state.joints[None], moved])
        shared = shared_vector(result.state) + np.concatenate(
            [np.zeros((1, FOCAL + 3)), WIDEN * difference]
        )
        if joints is None:
            joints = here
            continue
        ramp = np.linspace(0.0, 1.0, OVERLAP_NODES)[:, None, None]
        blend = (1 - ramp) * joints[:, -OVERLAP_NODES:] + ramp * here[:, :OVERLAP_NODES]
        joints = np.concatenate(
            [joints[:, :-OVERLAP_NODES], blend, here[:, OVERLAP_NODES:]], axis=1
        )
    assert joints is not None
    extra = np.radians([EXTRA_ROLL_DEG, EXTRA_PITCH_DEG])
    rng = np.random.default_rng(seed + len(results))
    shared[1:, [ROLL, PITCH]] += extra * rng.standard_normal((SAMPLES, 2))
    return _Draws(joints, shared)


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


def _describe(
    track: CleanTrack, step: int, results: list[FitResult], draws: _Draws, upright: BoolArray
) -> Body:
    axes = np.stack(
        [
            person_axes(body, up_vector(s[ROLL], s[PITCH]), upright)
            for body, s in zip(draws.joints, draws.shared, strict=True)
        ]
    )
    placed = np.einsum("sab,stkb->stka", axes, draws.joints)
    placed -= placed[:, :1, 6:8].mean(axis=2, keepdims=True)
    azimuths = np.array([compute_azimuth(a) for a in axes])
    spread = (azimuths[1:] - azimuths[0] + 180.0) % 360.0 - 180.0
    sd = np.sqrt(np.mean((draws.shared[1:] - draws.shared[0]) ** 2, axis=0))
    best = draws.shared[0]
    frames = _between_nodes(track.time_s[::step], placed, track.time_s)
    lengths = np.exp(best[:FOCAL])
    return Body(
        time_s=track.time_s,
        joints_m=frames[0],
        samples=frames[1:].astype(np.float32),
        lengths_m={g.name: float(lengths[i]) for i, g in enumerate(GROUPS)},
        lengths_sd_m={g.name: float(lengths[i] * sd[i]) for i, g in enumerate(GROUPS)},
        azimuth_deg=float(azimuths[0]),
        azimuth_sd_deg=float(np.sqrt(np.mean(spread**2))),
        tilt_deg=float(np.degrees(best[ROLL])),
        tilt_sd_deg=float(np.degrees(sd[ROLL])),
        pitch_deg=float(np.degrees(best[PITCH])),
        pitch_sd_deg=float(np.degrees(sd[PITCH])),
        focal=float(np.exp(best[FOCAL])),
        focal_sd=float(np.exp(best[FOCAL]) * sd[FOCAL]),
        cost=sum(r.cost for r in results),
        nodes=draws.joints.shape[1],
        steps=sum(r.steps for r in results),
        notes=() if upright.any() else ("nobody stands upright: facing from all frames",),
    )


def _between_nodes(nodes_s: FloatArray, values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Interpolate along axis 1 by cubics; after the last node the path goes straight on."""
    from scipy.interpolate import CubicSpline

    if len(nodes_s) == len(time_s):
        return values
    inside = np.minimum(time_s, nodes_s[-1])
    result = np.asarray(CubicSpline(nodes_s, values, axis=1, bc_type="natural")(inside))
    slope = (values[:, -1] - values[:, -2]) / (nodes_s[-1] - nodes_s[-2])
    after = (time_s - inside)[None, :, None, None]
    return np.asarray(result + after * slope[:, None])
