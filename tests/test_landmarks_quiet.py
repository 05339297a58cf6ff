"""The chatter of the native library stays off the terminal, everything else gets there."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from motioncheck.landmarks.quiet import drop_chatter, native_chatter_held_back

CHATTER = b"""INFO: Created TensorFlow Lite XNNPACK delegate for CPU.
WARNING: All log messages before absl::InitializeLog() is called are written to STDERR
W0000 00:00:1795563833.131953    7691 inference_feedback_manager.cc:114] Feedback manager requires
I0000 00:00:1795563833.131953    7691 gl_context_egl.cc:85] Successfully initialized EGL.
"""


def test_known_chatter_is_dropped() -> None:
    assert drop_chatter(CHATTER) == b""


@pytest.mark.parametrize(
    "line",
    [
        b"motioncheck: the clip ends early\n",
        b"E0000 00:00:1795563833.131953    7691 calculator_graph.cc:900] failed\n",
        b"F0000 00:00:1795563833.131953    7691 calculator_graph.cc:900] failed\n",
        b"WARNING: the picture is dark\n",
        b"no end of line",
    ],
)
def test_other_lines_are_kept(line: bytes) -> None:
    assert drop_chatter(CHATTER + line) == line


def test_messages_come_out_at_the_end(capfd: pytest.CaptureFixture[str]) -> None:
    with native_chatter_held_back():
        os.write(2, CHATTER)
        os.write(2, b"native error\n")
        os.write(2, b"ours\n")
        assert capfd.readouterr().err == ""
    assert capfd.readouterr().err == "native error\nours\n"
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def test_messages_come_out_when_something_fails(capfd: pytest.CaptureFixture[str]) -> None:
    def fail() -> None:
        with native_chatter_held_back():
            os.write(2, b"the reason\n")
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        fail()
    assert capfd.readouterr().err == "the reason\n"


def test_nesting_restores_once(capfd: pytest.CaptureFixture[str]) -> None:
    with native_chatter_held_back():
        with native_chatter_held_back():
            os.write(2, b"inner\n")
        assert capfd.readouterr().err == ""
    assert capfd.readouterr().err == "inner\n"


def test_no_descriptor_is_left_open() -> None:
    def lowest_free() -> int:
        free = os.dup(1)
        os.close(free)
        return free

    before = lowest_free()
    for _ in range(20):
        with native_chatter_held_back():
            os.write(2, CHATTER)
    assert lowest_free() == before


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")
def test_closed_standard_error_is_no_problem() -> None:
    code = (
        "import os\n"
        "from motioncheck.landmarks.quiet import native_chatter_held_back as quiet\n"
        "with quiet():\n    print('inside')\n"
        "print('outside')\n"
    )
    shell = f'"{sys.executable}" -c "$CODE" 2>&-'
    run = subprocess.run(
        ["/bin/sh", "-c", shell],
        env=os.environ | {"CODE": code},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    assert run.stdout == "inside\noutside\n"
