"""Assemble the pose model bundles from the weights as their authors published them.

A maintainer's tool, not needed to use the program: the finished bundles are carried in this
folder. It shows that they hold nothing but the published weights, and it makes them again, byte
for byte::

    python -m motioncheck.assets.rebuild_bundle --weights DIR --out DIR

``--weights`` is a folder with these files, copied there by hand (`NOTICE` says where they were
published); their checksums must be the ones in `CHECKSUMS`:

- ``pose_detection.tflite``, which finds a person in a picture;
- ``pose_landmark_full.tflite`` and ``pose_landmark_lite.tflite``, which place the 33 landmarks.

What is done to them: the detector is taken as it is. A landmark file loses the part that paints a
mask of the person (nobody asks for it and it takes almost half of the time) and gets one metadata
record that says how the input picture is to be normalised (without it the Tasks API refuses the
file); its weights are not touched. The two files are then put, uncompressed, into one zip archive.
With ``--published`` the mask stays in: those are the bundles that tests and benchmarks compare
with, in ``tests/published_models``.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import sys
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from motioncheck.assets import PUBLISHED_SUFFIX, load_checksums
from motioncheck.assets.networks import ALIGNMENT, add_metadata, leave_out_mask

DETECTOR_MEMBER: Final = "pose_detector.tflite"
LANDMARKS_MEMBER: Final = "pose_landmarks_detector.tflite"

DETECTOR_FILE: Final = "pose_detection.tflite"
BUNDLES: Final[Mapping[str, str]] = {
    "pose_full.task": "pose_landmark_full.tflite",
    "pose_lite.task": "pose_landmark_lite.tflite",
}

ZIP_HEADER_SIZE: Final = 30
# Earliest date a zip archive can hold; a fixed one makes the archive reproducible.
ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)


def build_bundle(detector: bytes, landmarks: bytes) -> bytes:
    """Put the two networks into one archive that the Tasks API loads.

    Parameters
    ----------
    detector : bytes
        The detector file as published.
    landmarks : bytes
        The landmark file, as published or without its mask; it gets the metadata here.

    Returns
    -------
    bundle : bytes
        A zip archive without compression; the same input gives the same bytes.
    """
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_STORED) as bundle:
        for name, data in (
            (DETECTOR_MEMBER, detector),
            (LANDMARKS_MEMBER, add_metadata(landmarks)),
        ):
            member = zipfile.ZipInfo(name, date_time=ZIP_DATE)
            member.external_attr = 0o644 << 16
            member.create_system = 3
            member.extra = _padding(archive.tell() + ZIP_HEADER_SIZE + len(name))
            bundle.writestr(member, data)
    return archive.getvalue()


def read_bundle(bundle: bytes) -> tuple[bytes, bytes]:
    """Return the detector and the landmark network of a bundle."""
    with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
        return archive.read(DETECTOR_MEMBER), archive.read(LANDMARKS_MEMBER)


def _padding(position: int) -> bytes:
    """Return an extra field that moves the data from ``position`` to an aligned one."""
    missing = -position % ALIGNMENT
    if missing == 0:
        return b""
    if missing < 4:  # An extra field has a head of 4 bytes.
        missing += ALIGNMENT
    size = missing - 4
    return b"\xff\xff" + size.to_bytes(2, "little") + bytes(size)


def _read_checked(folder: Path, name: str, sums: Mapping[str, str]) -> bytes:
    data = (folder / name).read_bytes()
    found = hashlib.sha256(data).hexdigest()
    if found != sums[name]:
        raise ValueError(f"{name}: expected SHA-256 {sums[name]}, found {found}.")
    return data


def build_all(weights: Path, out: Path, *, published: bool = False) -> list[Path]:
    """Build every bundle from the published files and write it.

    Parameters
    ----------
    weights : Path
        Folder with the published files.
    out : Path
        Folder for the bundles, created if missing.
    published : bool
        Leave the mask in, as published.

    Raises
    ------
    ValueError
        If a published file is not the one in `CHECKSUMS`.
    OSError
        If a file is missing or cannot be written.
    """
    sums = load_checksums()
    out.mkdir(parents=True, exist_ok=True)
    detector = _read_checked(weights, DETECTOR_FILE, sums)
    written = []
    for bundle, landmarks in BUNDLES.items():
        path = out / bundle
        network = _read_checked(weights, landmarks, sums)
        path.write_bytes(build_bundle(detector, network if published else leave_out_mask(network)))
        written.append(path)
    return written


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line: build the bundles, print their checksums; 1 if they are not ours."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--weights", type=Path, required=True, help="folder with the .tflite files")
    parser.add_argument("--out", type=Path, required=True, help="folder for the .task files")
    parser.add_argument("--published", action="store_true", help="leave the mask in")
    options = parser.parse_args(arguments)
    try:
        written = build_all(options.weights, options.out, published=options.published)
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 1
    sums = load_checksums()
    same = True
    for path in written:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        suffix = PUBLISHED_SUFFIX if options.published else ""
        as_carried = digest == sums.get(f"{path.name}{suffix}")
        same &= as_carried
        print(f"{digest}  {path.name}  {'as carried' if as_carried else 'NOT as carried'}")
    return 0 if same else 1


if __name__ == "__main__":
    raise SystemExit(main())
