"""What the program makes of one validation clip, beside the truth, kept as arrays.

Usage: ``python tests/validation/outcomes.py --data DIR --keep DIR [--split NAME]``

Everything goes through the program's own code: cleaning, view, measures in the picture, body fit,
the table that the checks read, and the verdicts. One file a clip is kept, and the fitted bodies
are, so that reports and the calibration need not fit again. What is kept is made anew when the
code or the data it depends on have changed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from report_clips import (
    UP,
    find_standard,
    list_clips,
    measure_landmarks,
    read_clip,
    read_truth,
    wrap,
)
from report_verdicts import compare_verdicts

import motioncheck
from motioncheck.measures import (
    REGISTRY,
    build_body,
    compute_picture_table,
    load_calibration,
    measure_joints,
)
from motioncheck.measures.choice import drop_invented
from motioncheck.pipeline import analyse, sources
from motioncheck.pipeline.compare import measure_model
from motioncheck.pipeline.fitting import BodyCache, FittedBody
from motioncheck.records import CleanTrack, MeasureTable

Array = NDArray[np.float64]
COLUMNS: tuple[str, ...] = tuple(c for s in REGISTRY if s.compute for c in s.ids())
WAYS = ("world", "picture", "body", "said")
EXTRACTION_S = 0.020  # of the pose model for one frame, on one idle core
Z90 = 1.645
PROCESSES = 2
CAMERA_ERRORS = ("azimuth_error_deg", "tilt_error_deg", "pitch_error_deg")
PACKAGE = Path(motioncheck.__file__).parent
# What a fitted body depends on, and what else an outcome does.
FIT_PARTS = ("bodyfit", "lifting", "cleaning", "records/track.py", "assets/lifting.npz")
OTHER_PARTS = (
    *("measures", "checks", "splitting", "standards", "movements", "camera.py"),
    *("pipeline/analyse.py", "pipeline/sources.py", "assets/calibration.json"),
)


@dataclass(frozen=True, eq=False)
class Outcome:
    """One clip measured in several ways.

    Attributes
    ----------
    about : dict
        As in the clip's file.
    time_s : ndarray, shape (T,)
    truth : ndarray, shape (T, K)
        A column for each of `COLUMNS`, from the true joints along the person's own axes.
    values, raw : dict of way to ndarray, shape (T, K)
        Ways are those of `WAYS`: the pose model's own 3-D joints, the picture, the fitted body, and
        what the program says. ``raw`` is the guard band of the picture, 1.645 standard errors of
        the body, and the half-width of the 90 % interval of what the program says.
    from_body : ndarray of bool, shape (T, K)
        Where what the program says comes from the body.
    numbers : dict
        ``azimuth_deg`` true, relative to where the person faces, ``view_azimuth_deg`` as the
        program tells it and ``view_azimuth_error_deg``; errors of the fitted camera; how far the
        model's landmarks are from the true joints in the picture; ``fit_share``, the processor
        time of the fit as a share of the pose model's. NaN where unknown.
    findings : list of dict
        See `report_verdicts.compare_verdicts`.
    reps : dict
        ``true`` and ``found`` repetitions; empty where no standard belongs to the motion.
    """

    about: dict[str, Any]
    time_s: Array
    truth: Array
    values: dict[str, Array]
    raw: dict[str, Array]
    from_body: NDArray[np.bool_]
    numbers: dict[str, float]
    findings: list[dict[str, Any]] = field(default_factory=list)
    reps: dict[str, int] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Name of the clip."""
        return str(self.about["name"])

    @property
    def real(self) -> bool:
        """Whether the motion was recorded."""
        return bool(self.about["motion"] == "recorded")


def stack(columns: Any, frames: int) -> Array:
    """Return a table as an array in the order of `COLUMNS`."""
    empty = np.full(frames, np.nan)
    return np.stack([columns.get(c, empty) for c in COLUMNS], axis=1)


class Fitting:
    """The fit of the program, done once a clip, with what went in and what it took.

    Attributes
    ----------
    dense : CleanTrack or None
        What the body was fitted to.
    body : FittedBody or None
    cpu_s : float
        Processor seconds; NaN when the body was kept from an earlier run.
    """

    def __init__(self, folder: Path) -> None:
        self._cache = BodyCache(folder)
        self._folder = folder
        self.dense: CleanTrack | None = None
        self.body: FittedBody | None = None
        self.cpu_s = float("nan")

    def __call__(self, track: CleanTrack) -> FittedBody:
        """Fit a body as the program does."""
        if self.body is None:
            self.dense = track
            before, begun = set(self._folder.glob("*")), time.process_time()
            self.body = self._cache(track)
            if set(self._folder.glob("*")) != before:
                self.cpu_s = time.process_time() - begun
        return self.body


def compare_camera(
    body: FittedBody | None, arrays: Mapping[str, Array], azimuth_deg: float
) -> dict[str, float]:
    """Return errors of the fitted camera, degrees."""
    if body is None:
        return dict.fromkeys(CAMERA_ERRORS, float("nan"))
    right, _, away = np.median(arrays["camera_axes"].astype(float), axis=0)
    true = (azimuth_deg, -np.degrees(np.arcsin(right @ UP)), np.degrees(np.arcsin(away @ UP)))
    found = (body.azimuth_deg, body.tilt_deg, body.pitch_deg)
    errors = [float(wrap(f - t)) for f, t in zip(found, true, strict=True)]
    return dict(zip(CAMERA_ERRORS, errors, strict=True))


def evaluate_clip(path: Path, bodies: Path) -> Outcome:
    """Measure one clip in every way; ``bodies`` is a folder for fitted bodies."""
    about, track, arrays = read_clip(path)
    standard, checked = find_standard(about)
    fit = Fitting(bodies)
    picture, _ = analyse._measure(track, standard)
    both = sources.combine_sources(track, picture, standard, fit, load_calibration())
    time_s = picture.track.time_s
    joints, turned_deg = read_truth(arrays, time_s)
    azimuth_deg = float(wrap(about["camera"]["azimuth_deg"] - turned_deg))
    truth = measure_joints(time_s, joints)
    seen = compute_picture_table(
        build_body(picture.track, both.view), planes=sources.wanted_planes(standard)
    )
    values, raw = _read_body(fit, len(time_s))
    for way, table in (("picture", seen), ("said", both.table)):
        values[way] = stack(table.values, len(time_s))
        raw[way] = stack(table.uncertainty, len(time_s))
    findings: list[dict[str, Any]] = []
    reps: dict[str, int] = {}
    if checked:
        exact = MeasureTable(time_s, truth, {c: np.zeros(len(time_s)) for c in truth})
        findings, reps = compare_verdicts(track, standard, exact, fit=fit)
    numbers = {
        "azimuth_deg": azimuth_deg,
        "view_azimuth_deg": both.view.azimuth_deg,
        "view_azimuth_error_deg": float(wrap(both.view.azimuth_deg - azimuth_deg)),
        **compare_camera(fit.body, arrays, azimuth_deg),
        **measure_landmarks(arrays),
        "fit_share": fit.cpu_s / (len(track.time_s) * EXTRACTION_S),
    }
    return Outcome(
        about,
        np.array(time_s),
        stack(truth, len(time_s)),
        values,
        raw,
        np.stack([both.table.from_body[c] for c in COLUMNS], axis=1),
        numbers,
        findings,
        reps,
    )


def _read_body(fit: Fitting, frames: int) -> tuple[dict[str, Array], dict[str, Array]]:
    """Return values of the model's own joints and of the fitted body, and the widths of these."""
    nothing = np.full((frames, len(COLUMNS)), np.nan)
    if fit.body is None or fit.dense is None:
        return {"world": nothing, "body": nothing}, {"body": nothing}
    missing = sources.find_missing(fit.dense)
    columns = fit.body.columns
    values = {c: drop_invented(v, c, missing) for c, v in columns.values.items()}
    world = measure_model(fit.dense)
    return (
        {"world": stack(world, frames), "body": stack(values, frames)},
        {"body": Z90 * stack(columns.spread, frames)},
    )


def save_outcome(outcome: Outcome, path: Path, *, depends_on: str = "") -> None:
    """Keep an outcome in one file, with a digest of what it depends on."""
    words = {k: getattr(outcome, k) for k in ("about", "numbers", "findings", "reps")}
    arrays: dict[str, Any] = {
        f"values_{way}": a.astype(np.float32) for way, a in outcome.values.items()
    }
    arrays |= {f"raw_{way}": a.astype(np.float32) for way, a in outcome.raw.items()}
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez_compressed(
            file,
            words=json.dumps(words),
            depends_on=depends_on,
            columns=np.array(COLUMNS),
            time_s=outcome.time_s,
            truth=outcome.truth.astype(np.float32),
            from_body=outcome.from_body,
            **arrays,
        )
    part.replace(path)


def load_outcome(path: Path) -> Outcome:
    """Read an outcome."""
    with np.load(path) as data:
        words = json.loads(str(data["words"]))
        ways = {
            kind: {
                k.removeprefix(f"{kind}_"): data[k].astype(float)
                for k in data.files
                if k.startswith(f"{kind}_")
            }
            for kind in ("values", "raw")
        }
        return Outcome(
            words["about"],
            data["time_s"],
            data["truth"].astype(float),
            ways["values"],
            ways["raw"],
            data["from_body"],
            words["numbers"],
            words["findings"],
            words["reps"],
        )


def digest(parts: tuple[str, ...], *more: Path) -> str:
    """Return a digest of files of the package, and of further ones."""
    found = hashlib.sha256()
    for part in parts:
        place = PACKAGE / part
        files = sorted(f for f in place.rglob("*") if f.suffix in (".py", ".toml"))
        for file in files if place.is_dir() else [place]:
            found.update(file.read_bytes() if file.exists() else b"")
    for file in more:
        found.update(file.read_bytes())
    return found.hexdigest()[:16]


def _evaluate_and_keep(path: Path, *, keep: Path, fit_digest: str, code_digest: str) -> Path:
    kept, depends_on = keep / path.name, f"{code_digest} {digest((), path)}"
    earlier = None
    if kept.exists():
        with np.load(kept) as data:
            if str(data["depends_on"]) == depends_on:
                return kept
        earlier = load_outcome(kept)
    outcome = evaluate_clip(path, keep / f"bodies-{fit_digest}")
    # A body that was kept cost nothing now; what it cost is known from when it was fitted.
    if earlier is not None and np.isnan(outcome.numbers["fit_share"]):
        outcome.numbers["fit_share"] = earlier.numbers["fit_share"]
    save_outcome(outcome, kept, depends_on=depends_on)
    return kept


def evaluate_all(
    paths: list[Path], keep: Path, *, tell: Callable[[str], None] = lambda text: None
) -> list[Outcome]:
    """Evaluate clips, two at a time, and return their outcomes in the same order."""
    here = Path(__file__)
    fit_digest = digest(FIT_PARTS)
    beside = (here.with_name(f"report_{name}.py") for name in ("clips", "verdicts"))
    code_digest = digest(FIT_PARTS + OTHER_PARTS, here, *beside)
    (keep / f"bodies-{fit_digest}").mkdir(parents=True, exist_ok=True)
    work = partial(_evaluate_and_keep, keep=keep, fit_digest=fit_digest, code_digest=code_digest)
    # Linear algebra on several threads would only fight over two cores; new processes read this.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    kept = []
    with ProcessPoolExecutor(PROCESSES, get_context("spawn")) as pool:
        for number, path in enumerate(pool.map(work, paths), start=1):
            tell(f"{number}/{len(paths)} {path.stem}")
            kept.append(path)
    return [load_outcome(path) for path in kept]


def add_arguments(parser: argparse.ArgumentParser, *, keep_required: bool = True) -> None:
    """Add the options that all commands on outcomes share."""
    parser.add_argument("--data", type=Path, default=Path(__file__).parent / "data")
    parser.add_argument(
        "--keep", type=Path, required=keep_required, help="folder for one file a clip"
    )
    parser.add_argument("--split", default="", help="calibration, fresh, or as in the files")
    parser.add_argument("--only", default="", help="clips whose name contains this")


def main() -> None:
    """Evaluate the clips asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_arguments(parser)
    options = parser.parse_args()
    evaluate_all(
        list(list_clips(options.data, options.split, options.only)), options.keep, tell=print
    )


if __name__ == "__main__":
    main()
