"""Decoding in a thread of its own, beside whoever uses the pictures."""

from __future__ import annotations

import threading
import weakref
from collections import deque
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self

from motioncheck.video.decode import ClipReader
from motioncheck.video.picture import Frame

# On Windows a wait without a limit cannot be interrupted from the keyboard.
_LOOK_UP_S = 0.2


def read_ahead(
    reader: ClipReader, *, depth: int = 8, on_frame: Callable[[Frame], None] | None = None
) -> ReadAhead:
    """Decode in a background thread while the pictures before are being used.

    Parameters
    ----------
    reader : ClipReader
        Belongs to the result from now on: closed with it, and at the end of the clip. Its report
        can still be read afterwards.
    depth : int
        How many pictures may wait; the thread pauses beyond that, so memory stays flat.
    on_frame : callable, optional
        Called in the decoding thread with each picture, in order, before the consumer gets it.

    Returns
    -------
    ReadAhead
        An iterator of `Frame`, to be used inside ``with``.
    """
    return ReadAhead(reader, depth=depth, on_frame=on_frame)


class _Channel:
    """What the two sides share; the thread must not hold the iterator itself alive."""

    def __init__(self, depth: int) -> None:
        self.change = threading.Condition()
        self.depth = max(depth, 1)
        self.frames: deque[Frame] = deque()
        self.error: BaseException | None = None
        self.ended = False
        self.stopped = False

    def put(self, frame: Frame) -> bool:
        """Hand over a picture, waiting for room; False once the consumer has stopped."""
        with self.change:
            self.change.wait_for(lambda: self.stopped or len(self.frames) < self.depth)
            if self.stopped:
                return False
            self.frames.append(frame)
            self.change.notify_all()
            return True

    def end(self, error: BaseException | None) -> None:
        with self.change:
            self.error, self.ended = error, True
            self.change.notify_all()

    def stop(self) -> None:
        with self.change:
            self.stopped = True
            self.frames.clear()
            self.change.notify_all()


class ReadAhead(Iterator[Frame]):
    """Iterator over the pictures of a reader that decodes in the background; see `read_ahead`.

    An exception of the thread is raised here, after the pictures that came before it. Leaving the
    ``with`` block for any reason, `close`, or dropping the object stops the thread.
    """

    def __init__(
        self, reader: ClipReader, *, depth: int, on_frame: Callable[[Frame], None] | None
    ) -> None:
        self._channel = _Channel(depth)
        self._thread = threading.Thread(
            target=_decode_all,
            args=(reader, self._channel, on_frame),
            name="motioncheck-decode",
            daemon=True,  # a program that is interrupted must not wait for it
        )
        self._thread.start()
        # Also runs when the interpreter exits, so that FFmpeg is not freed under the thread.
        self._stop = weakref.finalize(self, _stop_thread, self._channel, self._thread)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Stop the thread, wait for it and free the file. Can be called twice."""
        self._stop()

    def __next__(self) -> Frame:
        channel = self._channel
        with channel.change:
            while not channel.frames and not channel.ended and not channel.stopped:
                channel.change.wait(_LOOK_UP_S)
            if channel.frames:
                frame = channel.frames.popleft()
                channel.change.notify_all()
                return frame
            error, channel.error = channel.error, None
        self.close()
        if error is not None:
            raise error
        raise StopIteration


def _decode_all(
    reader: ClipReader, channel: _Channel, on_frame: Callable[[Frame], None] | None
) -> None:
    error: BaseException | None = None
    try:
        with reader:
            for frame in reader:
                if channel.stopped:
                    break
                if on_frame is not None:
                    on_frame(frame)
                if not channel.put(frame):
                    break
    except BaseException as caught:  # handed to the consumer, whatever it is
        error = caught
    channel.end(error)


def _stop_thread(channel: _Channel, thread: threading.Thread) -> None:
    channel.stop()
    if thread is not threading.current_thread():
        thread.join()
