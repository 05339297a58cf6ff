"""Assemble the pose model bundles from the weights as their authors published them.

A maintainer's tool, not needed to use the program: the finished bundles are carried in this
folder. It shows that they hold nothing but the published weights, and it makes them again, byte
for byte::

    python -m motioncheck.assets.rebuild_bundle --weights DIR --out DIR

``--weights`` is a folder with these files, copied there by hand (`NOTICE` says where they were
published); their checksums must be the ones in `CHECKSUMS`:

- ``pose_detection.tflite``, which finds a person in a picture;
- ``pose_landmark_full.tflite`` and ``pose_landmark_lite.tflite``, which place the 33 landmarks.

What is done to them: the detector is taken as it is. A landmark file gets one metadata record
that says how the input picture is to be normalised (without it the Tasks API refuses the file);
its weights are not touched. The two files are then put, uncompressed, into one zip archive.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import sys
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from motioncheck.assets import load_checksums

METADATA_NAME: Final = "TFLITE_METADATA"
METADATA_IDENTIFIER: Final = b"M001"
MODEL_IDENTIFIER: Final = b"TFL3"

DETECTOR_MEMBER: Final = "pose_detector.tflite"
LANDMARKS_MEMBER: Final = "pose_landmarks_detector.tflite"

DETECTOR_FILE: Final = "pose_detection.tflite"
BUNDLES: Final[Mapping[str, str]] = {
    "pose_full.task": "pose_landmark_full.tflite",
    "pose_lite.task": "pose_landmark_lite.tflite",
}

# The landmark network expects RGB values divided by 255, so that they lie between 0 and 1.
INPUT_MEAN: Final = 0.0
INPUT_STD: Final = 255.0

# Start of every file in the archive and of every weight array, as TensorFlow Lite asks for:
# arrays that start elsewhere may be copied, or read slowly, on some processors.
ALIGNMENT: Final = 16
ZIP_HEADER_SIZE: Final = 30
# Earliest date a zip archive can hold; a fixed one makes the archive reproducible.
ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)


def compute_weights_digest(model: bytes) -> str:
    """Compute a SHA-256 over everything in a TensorFlow Lite file that its result depends on.

    That is the constant arrays, the order of the operators and how they are wired. The metadata
    record is left out, and so is the layout of the file, both of which `add_metadata` changes.

    Parameters
    ----------
    model : bytes
        A TensorFlow Lite file.

    Returns
    -------
    digest : str
        Hexadecimal; equal for the published file and for the one inside a bundle.
    """
    content = _unpack(model)
    _drop_metadata(content)
    return hashlib.sha256(_pack(content)).hexdigest()


def add_metadata(model: bytes) -> bytes:
    """Add the record that tells the Tasks API how to normalise the input picture.

    Parameters
    ----------
    model : bytes
        A landmark file as published, or one that has this record already (it is replaced).

    Returns
    -------
    model : bytes
        The same network with the record; the weights are unchanged.
    """
    from mediapipe.tasks.metadata import schema_py_generated as schema

    content = _unpack(model)
    _drop_metadata(content)
    record = schema.BufferT()
    record.data = bytearray(_normalisation_record(content))
    content.buffers.append(record)
    entry = schema.MetadataT()
    entry.name = METADATA_NAME
    entry.buffer = len(content.buffers) - 1
    content.metadata = [*(content.metadata or []), entry]
    return _pack(content)


def build_bundle(detector: bytes, landmarks: bytes) -> bytes:
    """Put the two networks into one archive that the Tasks API loads.

    Parameters
    ----------
    detector : bytes
        The detector file as published.
    landmarks : bytes
        The landmark file as published.

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


def _unpack(model: bytes) -> Any:
    """Return the content of a TensorFlow Lite file as objects."""
    from mediapipe.tasks.metadata import schema_py_generated as schema

    return schema.ModelT.InitFromObj(schema.Model.GetRootAs(bytearray(model), 0))


def _drop_metadata(content: Any) -> None:
    """Remove the metadata record that `add_metadata` puts last, if it is there."""
    entries = content.metadata or []
    if entries and entries[-1].name in (METADATA_NAME, METADATA_NAME.encode()):
        if entries[-1].buffer != len(content.buffers) - 1:
            raise ValueError("The metadata record is not the last array of the file.")
        content.metadata = entries[:-1]
        content.buffers = content.buffers[:-1]


def _pack(content: Any) -> bytes:
    """Write the objects of a TensorFlow Lite file, weight arrays aligned."""
    for buffer in content.buffers:
        # The generated code forgets the alignment that the file format asks for.
        buffer.Pack = _AlignedBuffer(buffer).pack
    return _finish(content, MODEL_IDENTIFIER)


def _finish(content: Any, identifier: bytes) -> bytes:
    """Write objects of either schema as a flat buffer."""
    import flatbuffers  # type: ignore[import-untyped]

    builder = flatbuffers.Builder(0)
    builder.Finish(content.Pack(builder), identifier)
    return bytes(builder.Output())


class _AlignedBuffer:
    """Writes one constant array so that its data start at a multiple of `ALIGNMENT`."""

    def __init__(self, buffer: Any) -> None:
        self._buffer = buffer

    def pack(self, builder: Any) -> Any:
        """Write the array; returns its offset."""
        from mediapipe.tasks.metadata import schema_py_generated as schema

        data = None if self._buffer.data is None else bytes(self._buffer.data)
        start = None
        if data is not None:
            builder.StartVector(1, len(data), ALIGNMENT)
            builder.head -= len(data)
            builder.Bytes[builder.head : builder.head + len(data)] = data
            start = builder.EndVector()
        schema.BufferStart(builder)
        if start is not None:
            schema.BufferAddData(builder, start)
        schema.BufferAddOffset(builder, self._buffer.offset)
        schema.BufferAddSize(builder, self._buffer.size)
        return schema.BufferEnd(builder)


def _normalisation_record(content: Any) -> bytes:
    """Return the metadata record: an RGB picture, its normalisation, the names of the outputs."""
    from mediapipe.tasks.metadata import metadata_schema_py_generated as schema

    graph = schema.SubGraphMetadataT()
    graph.inputTensorMetadata = [_picture_input(schema)]
    graph.outputTensorMetadata = [_named_output(schema, content, i) for i in _outputs(content)]
    record = schema.ModelMetadataT()
    record.subgraphMetadata = [graph]
    return _finish(record, METADATA_IDENTIFIER)


def _picture_input(schema: Any) -> Any:
    picture = schema.ImagePropertiesT()
    picture.colorSpace = schema.ColorSpaceType.RGB
    tensor = schema.TensorMetadataT()
    tensor.name = "image"
    tensor.content = schema.ContentT()
    tensor.content.contentPropertiesType = schema.ContentProperties.ImageProperties
    tensor.content.contentProperties = picture
    normalisation = schema.NormalizationOptionsT()
    normalisation.mean = [INPUT_MEAN]
    normalisation.std = [INPUT_STD]
    unit = schema.ProcessUnitT()
    unit.optionsType = schema.ProcessUnitOptions.NormalizationOptions
    unit.options = normalisation
    tensor.processUnits = [unit]
    return tensor


def _outputs(content: Any) -> list[int]:
    return [int(index) for index in content.subgraphs[0].outputs]


def _named_output(schema: Any, content: Any, index: int) -> Any:
    tensor = schema.TensorMetadataT()
    tensor.name = content.subgraphs[0].tensors[index].name.decode("utf-8")
    return tensor


def _read_checked(folder: Path, name: str, sums: Mapping[str, str]) -> bytes:
    data = (folder / name).read_bytes()
    found = hashlib.sha256(data).hexdigest()
    if found != sums[name]:
        raise ValueError(f"{name}: expected SHA-256 {sums[name]}, found {found}.")
    return data


def build_all(weights: Path, out: Path) -> list[Path]:
    """Build every bundle from the published files and write it.

    Parameters
    ----------
    weights : Path
        Folder with the published files.
    out : Path
        Folder for the bundles, created if missing.

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
        path.write_bytes(build_bundle(detector, _read_checked(weights, landmarks, sums)))
        written.append(path)
    return written


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line: build the bundles, print their checksums; 1 if they are not ours."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--weights", type=Path, required=True, help="folder with the .tflite files")
    parser.add_argument("--out", type=Path, required=True, help="folder for the .task files")
    options = parser.parse_args(arguments)
    try:
        written = build_all(options.weights, options.out)
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 1
    sums = load_checksums()
    same = True
    for path in written:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        as_carried = digest == sums.get(path.name)
        same &= as_carried
        print(f"{digest}  {path.name}  {'as carried' if as_carried else 'NOT as carried'}")
    return 0 if same else 1


if __name__ == "__main__":
    raise SystemExit(main())
