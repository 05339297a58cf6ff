"""The pose model: pictures in, landmarks out. The only module that knows the pose library."""

from __future__ import annotations

import contextlib
import hashlib
import sys
import threading
from collections.abc import Iterator
from types import TracebackType
from typing import Any, Final, Protocol, Self

import numpy as np
import numpy.typing as npt

from motioncheck.assets import PUBLISHED_SUFFIX, load_checksums, read_asset
from motioncheck.errors import MissingPartError, ShapeError
from motioncheck.landmarks.quiet import native_chatter_held_back
from motioncheck.records.arrays import shorten
from motioncheck.skeleton import COUNT

MODELS: Final = ("full", "lite")
"""Names of the models carried: ``full`` is exact enough for checks, ``lite`` to look for people."""

Picture = npt.NDArray[np.uint8]

# Side of the black picture that is shown to a new model so that all of it is started.
_WARM_UP_SIDE_PX: Final = 64

_import_lock = threading.Lock()


class Pose:
    """Landmarks of one person in one picture.

    Poses of a whole clip are kept until its end, so the numbers lie in one array, in single
    precision where that loses nothing: the model computes in it.

    Parameters
    ----------
    image_px : ndarray, shape (33, 2)
        x to the right and y down, in pixels of the upright full-size picture. Landmarks outside
        the picture are guessed by the model and lie outside of it.
    visibility : ndarray, shape (33,)
        The model's belief that the landmark can be seen, 0 to 1.
    world_m : ndarray, shape (33, 3)
        The model's own 3-D estimate in metres about the mid-hip: x to the right in the picture,
        y down, z away from the camera (smaller = nearer to the lens). Not turned upright: y is
        the down of the picture, not of gravity.
    """

    __slots__ = ("_numbers",)

    def __init__(
        self,
        *,
        image_px: npt.NDArray[np.float64],
        visibility: npt.NDArray[np.float64],
        world_m: npt.NDArray[np.float64],
    ) -> None:
        self._numbers = shorten(np.column_stack([image_px, visibility, world_m]))

    @property
    def image_px(self) -> npt.NDArray[np.float64]:
        """Landmarks in the picture, shape (33, 2), a copy."""
        return self._numbers[:, :2].astype(np.float64)

    @property
    def visibility(self) -> npt.NDArray[np.float64]:
        """Belief that each landmark can be seen, shape (33,), a copy."""
        return self._numbers[:, 2].astype(np.float64)

    @property
    def world_m(self) -> npt.NDArray[np.float64]:
        """Landmarks in metres, shape (33, 3), a copy."""
        return self._numbers[:, 3:].astype(np.float64)


class PoseFinder(Protocol):
    """What the following of a person needs of a model; `PoseModel` is the real one."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None: ...

    def detect(self, rgb: Picture, time_s: float) -> list[Pose]:
        """Find the people in a picture."""
        ...


def bundle_sha256(name: str) -> str:
    """Return the SHA-256 that the bundle of a model must have, without reading the bundle.

    Raises
    ------
    MissingPartError
        If there is no such model, or the list of checksums is missing or damaged.
    """
    return _find_checksum(name)


def model_sha256(name: str) -> str:
    """Return the SHA-256 by which tracks, caches and histories know a model.

    It is that of the bundle with the networks as published. The bundle carried gives the same
    landmarks in less time, so nothing that was found before is found anew because of it.

    Raises
    ------
    MissingPartError
        If there is no such model, or the list of checksums is missing or damaged.
    """
    return _find_checksum(name, PUBLISHED_SUFFIX)


def load_bundle(name: str) -> bytes:
    """Load the bundle of a model and make sure that it is the one this program was made with.

    Parameters
    ----------
    name : str
        ``full`` or ``lite``.

    Raises
    ------
    MissingPartError
        If there is no such model, or its file is missing or damaged.
    """
    expected = bundle_sha256(name)
    try:
        data = read_asset(_file_name(name))
    except OSError as error:
        raise MissingPartError(f"The pose model {_file_name(name)} is missing.") from error
    if hashlib.sha256(data).hexdigest() != expected:
        raise MissingPartError(
            f"The pose model {_file_name(name)} is damaged: its checksum is not the expected one."
        )
    return data


class PoseModel:
    """The pose model, ready to look at pictures; a context manager.

    Parameters
    ----------
    name : str
        ``full`` or ``lite``.
    width_px, height_px : int
        Size of the upright full-size picture; landmarks are given in its pixels whatever the size
        of the pictures shown.
    single_pictures : bool
        False: successive frames of a clip; a person once found is followed.
        True: each picture is looked at for itself, without smoothing over time.

    Raises
    ------
    MissingPartError
        On entering, if the library or the bundle is missing or damaged.
    """

    def __init__(
        self,
        name: str = "full",
        *,
        width_px: int,
        height_px: int,
        single_pictures: bool = False,
    ) -> None:
        self.name = name
        self.sha256 = model_sha256(name)
        self._size_px = np.array([width_px, height_px], dtype=np.float64)
        self._single_pictures = single_pictures
        self._bundle = b""
        self._landmarker: Any = None
        self._to_image: Any = None
        self._last_ms = -1
        self._start_s: float | None = None
        self._settled = False

    def __enter__(self) -> Self:
        with native_chatter_held_back():
            self._create()
            # The library goes on starting in threads of its own after it has been created; one
            # finished picture means that this is over, and with it the chatter.
            self._run(np.zeros((_WARM_UP_SIDE_PX, _WARM_UP_SIDE_PX, 3), dtype=np.uint8), 0)
        self._last_ms = 0
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._landmarker is not None:
            self._landmarker.close()
        self._landmarker = None
        self._bundle = b""

    def detect(self, rgb: Picture, time_s: float) -> list[Pose]:
        """Find the people in a picture.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (H, W, 3)
            Upright picture of any size and any memory layout.
        time_s : float
            Its time; must grow from picture to picture unless ``single_pictures`` was set.

        Returns
        -------
        poses : list of Pose
            Empty where nobody was found.

        Raises
        ------
        ShapeError
            If the picture is not 8-bit RGB.
        """
        if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
            raise ShapeError(f"A picture must be uint8 (H, W, 3), found {rgb.dtype} {rgb.shape}.")
        # The library reads the memory as if it were C-contiguous and does not check.
        picture = np.ascontiguousarray(rgb)
        # The first person ever found makes the library talk once more.
        with contextlib.nullcontext() if self._settled else native_chatter_held_back():
            found = self._run(picture, self._next_ms(time_s))
        self._settled |= bool(found.pose_landmarks)
        return [
            self._to_pose(image, world)
            for image, world in zip(found.pose_landmarks, found.pose_world_landmarks, strict=True)
        ]

    def _create(self) -> None:
        self._bundle = load_bundle(self.name)
        try:
            library = _load_library()
            mode = library.IMAGE if self._single_pictures else library.VIDEO
            options = library.options(self._bundle, mode)
            self._landmarker = library.create(options)
        except (ImportError, OSError, RuntimeError, ValueError) as error:
            raise MissingPartError(f"The pose library does not start: {error}.") from error
        self._to_image = library.image

    def _run(self, picture: Picture, time_ms: int) -> Any:
        image = self._to_image(picture)
        if self._single_pictures:
            return self._landmarker.detect(image)
        return self._landmarker.detect_for_video(image, time_ms)

    def _next_ms(self, time_s: float) -> int:
        """Return a whole millisecond later than the last: the library demands both."""
        if self._start_s is None:
            self._start_s = time_s
        # Starts at 1: 0 was the warm-up.
        self._last_ms = max(self._last_ms + 1, 1 + round((time_s - self._start_s) * 1000.0))
        return self._last_ms

    def _to_pose(self, image: list[Any], world: list[Any]) -> Pose:
        """Turn the library's objects into arrays, in single precision as the model computes."""
        flat = np.fromiter(
            (value for p in image for value in (p.x, p.y, p.visibility)), np.float64, COUNT * 3
        ).reshape(COUNT, 3)
        depth = np.fromiter((v for p in world for v in (p.x, p.y, p.z)), np.float64, COUNT * 3)
        return Pose(
            image_px=(flat[:, :2] * self._size_px).astype(np.float32).astype(np.float64),
            visibility=flat[:, 2],
            world_m=depth.reshape(COUNT, 3),
        )


class _Library:
    """The few things of the pose library that are used."""

    def __init__(self) -> None:
        from mediapipe.tasks.python.core.base_options import BaseOptions
        from mediapipe.tasks.python.vision import pose_landmarker
        from mediapipe.tasks.python.vision.core import image, vision_task_running_mode

        modes = vision_task_running_mode.VisionTaskRunningMode
        self.IMAGE, self.VIDEO = modes.IMAGE, modes.VIDEO
        self._base_options = BaseOptions
        self._options = pose_landmarker.PoseLandmarkerOptions
        self.create = pose_landmarker.PoseLandmarker.create_from_options
        self._image = image

    def options(self, bundle: bytes, mode: Any) -> Any:
        return self._options(
            base_options=self._base_options(model_asset_buffer=bundle),
            running_mode=mode,
            # With more the library overlooks people all the same, does without smoothing over
            # time, and is slower even where there is one person only.
            num_poses=1,
        )

    def image(self, picture: Picture) -> Any:
        return self._image.Image(image_format=self._image.ImageFormat.SRGB, data=picture)


def _load_library() -> _Library:
    with _import_lock, _without_sound():
        return _Library()


@contextlib.contextmanager
def _without_sound() -> Iterator[None]:
    """Let the pose library be imported without its microphone part.

    Importing it opens the sound system, which a program that looks at videos has no business to
    do, and costs more time than all the rest. The library copes with the module being absent.
    """
    name = "sounddevice"
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        sys.modules.pop(name, None)


def _find_checksum(name: str, suffix: str = "") -> str:
    if name not in MODELS:
        raise MissingPartError(
            f"There is no pose model called {name!r}.",
            hint=f"Choose one of: {', '.join(MODELS)}.",
        )
    try:
        return load_checksums()[_file_name(name) + suffix]
    except (OSError, ValueError, KeyError) as error:
        raise MissingPartError("The checksums of the pose models are missing.") from error


def _file_name(name: str) -> str:
    return f"pose_{name}.task"
