"""Landmark networks as files: a checksum of what counts, and the two changes made to them.

A maintainer's tool beside `rebuild_bundle`: the changed networks are carried in this folder.
"""

from __future__ import annotations

import hashlib
from typing import Any, Final

METADATA_NAME: Final = "TFLITE_METADATA"
METADATA_IDENTIFIER: Final = b"M001"
MODEL_IDENTIFIER: Final = b"TFL3"

# The landmark network expects RGB values divided by 255, so that they lie between 0 and 1.
INPUT_MEAN: Final = 0.0
INPUT_STD: Final = 255.0

# Start of every weight array, as TensorFlow Lite asks for: arrays that start elsewhere may be
# copied, or read slowly, on some processors.
ALIGNMENT: Final = 16

# How the outputs of a landmark network are told apart: presence of a person, mask of the person.
PRESENCE_SHAPE: Final = [1, 1]
MASK_SHAPE: Final = [1, 256, 256, 1]


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


def leave_out_mask(model: bytes) -> bytes:
    """Leave out the part of a landmark network that paints where the person is.

    The published networks end in five outputs: landmarks, their presence, a mask of the person as
    large as the picture, heat maps, landmarks in metres. Nobody asks for the mask here, yet it is
    computed for every picture, in large layers that take almost half of the time. The library
    expects five outputs and hands the mask on unread, so the presence is named a second time in
    its place and the operators that led to the mask only are taken out. What is left is computed
    by the same operators, from the same weights, in the same order: the landmarks are the same to
    the last bit.

    Parameters
    ----------
    model : bytes
        A landmark file as published, or one without the mask already (it is returned as it is).

    Returns
    -------
    model : bytes
        The network without the mask. Weights of the mask stay in the file; they are small.

    Raises
    ------
    ValueError
        If the outputs are not those of a landmark network.
    """
    content = _unpack(model)
    graph = content.subgraphs[0]
    outputs = _outputs(content)
    shapes = [[int(side) for side in graph.tensors[index].shape] for index in outputs]
    if PRESENCE_SHAPE not in shapes:
        raise ValueError(f"Not the outputs of a landmark network: {shapes}.")
    if MASK_SHAPE not in shapes:
        return model
    outputs[shapes.index(MASK_SHAPE)] = outputs[shapes.index(PRESENCE_SHAPE)]
    graph.outputs = outputs
    needed = _find_needed(graph.operators, outputs)
    graph.operators = [graph.operators[number] for number in sorted(needed)]
    return _pack(content)


def _find_needed(operators: list[Any], outputs: list[int]) -> set[int]:
    """Return the numbers of the operators that lead to some outputs."""
    makers = {int(made): number for number, step in enumerate(operators) for made in step.outputs}
    needed: set[int] = set()
    waiting = list(outputs)
    while waiting:
        number = makers.get(waiting.pop())
        if number is not None and number not in needed:
            needed.add(number)
            waiting.extend(int(index) for index in operators[number].inputs)
    return needed


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
