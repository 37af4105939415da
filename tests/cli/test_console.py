from __future__ import annotations

import errno
import io
import os
import signal
import subprocess
import sys

import pytest

from flightlog.cli.console import Console, ProgressLine
from flightlog.errors import OutputError

# A process of its own, since encodings and pipes belong to the process. It shows a debrief that
# was made by hand, with every sign that the program can print and hostile text from the log.
SHOW = """
import sys
from flightlog.cli import debriefing, run
from tests.made_debriefs import judged, made
from flightlog.uncertain import Uncertain

roll = Uncertain.of(28.9, 0.6, "m", source="all")
odd = "\\x1b[31m[red]caf\\u00e9 \\u2264 \\u00b1 \\u2192 \\U0001f6eb\\nforged\\udc80"
result = made(judged(28.9), roll=roll, file=odd, message=odd)
debriefing.debrief_file = lambda *given: result
run(["debrief", "a.bin", *sys.argv[1:]])
"""


def shown(*arguments, encoding, **options):
    settings = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0", "COLUMNS": "80"}
    return subprocess.run(
        [sys.executable, "-c", SHOW, *arguments],
        env=settings,
        capture_output=True,
        timeout=60,
        check=False,
        **options,
    )


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "utf-8", "ascii:strict"])
def test_every_console_gets_its_text(encoding):
    done = shown(encoding=encoding)
    text = done.stdout.decode(encoding.partition(":")[0])

    assert (0, b"") == (done.returncode, done.stderr)
    assert text.startswith("Ground roll 28.9 m (27.7 to 30.1): the 40 m limit is met.")
    assert "\x1b" not in text
    assert not any(line.startswith("forged") for line in text.splitlines())
    assert ("● met" if encoding == "utf-8" else "+ met") in text


class FullDisk(io.StringIO):
    def write(self, text):
        raise OSError(errno.ENOSPC, "No space left on device")


class ReaderLeft(io.StringIO):
    def write(self, text):
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_full_disk_is_said():
    with pytest.raises(OutputError, match="No space left on device"):
        Console(FullDisk()).line("text")


def test_a_reader_that_left_is_no_fault():
    console = Console(ReaderLeft())

    console.line("one")
    console.line("two")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")
def test_a_closed_pipe_gives_no_traceback():
    done = subprocess.run(
        ["/bin/sh", "-c", '"$0" -m flightlog --help | true', sys.executable],
        capture_output=True,
        timeout=60,
        check=False,
    )

    assert b"" == done.stderr


def test_progress_is_silent_where_nobody_watches():
    stream = io.StringIO()
    line = ProgressLine(Console(stream), "a.bin")
    line._began -= 10
    line(0.5, "reading")
    line.clear()

    assert "" == stream.getvalue()


def test_a_long_task_that_nobody_watches_tells_now_and_then_in_plain_lines():
    stream, now = io.StringIO(), [100.0]
    line = ProgressLine(Console(stream), "flightlog import", estimate=True, clock=lambda: now[0])
    for second in range(1, 71):
        now[0] = 100.0 + second
        line(second / 240, f"{second} of 240 logs read")
        line.clear()

    assert (
        "flightlog import: 30 of 240 logs read, about 4 min left\n"
        "flightlog import: 60 of 240 logs read, about 3 min left\n"
    ) == stream.getvalue()


def test_plain_progress_that_can_not_be_written_ends_no_task():
    now = [0.0]
    line = ProgressLine(Console(FullDisk()), "import", estimate=True, clock=lambda: now[0])
    for now[0] in (40.0, 80.0):
        line(0.5, "reading")


def test_progress_is_one_line_that_goes_away():
    stream = Terminal()
    line = ProgressLine(Console(stream), "a\x1b[2J.bin")
    line(0.1, "reading")
    assert "" == stream.getvalue()  # a short task shows nothing

    line._began -= 10
    line(0.5, "reading")
    line.clear()
    assert "\ra.bin: reading  50%" == stream.getvalue()[:20]
    assert stream.getvalue().endswith(" \r")
    assert "\n" not in stream.getvalue()


@pytest.mark.parametrize(
    ("taken_s", "share", "says"),
    [
        (2.0, 0.5, "50%"),  # too early to tell
        (10.0, 0.02, "2%"),  # too little is done
        (20.0, 0.25, "25%, about 60 s left"),
        (60.0, 0.10, "10%, about 9 min left"),
        (60.0, 1.0, "100%"),
    ],
)
def test_what_is_left_is_told_once_it_can_be_estimated(taken_s, share, says):
    stream = Terminal()
    line = ProgressLine(Console(stream), "import", estimate=True)
    line._began -= taken_s

    line(share, "reading")

    assert stream.getvalue().rstrip().endswith(says)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT can't be sent to one process")
def test_ctrl_c_ends_with_one_line_and_130():
    code = (
        "import signal, time\n"
        # A job in the background is born deaf to the signal; a person's terminal is not.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from flightlog.cli import debriefing, run\n"
        "def stand_in(*given):\n"
        "    print('started', flush=True)\n"
        "    time.sleep(50)\n"
        "debriefing.debrief_file = stand_in\n"
        "run(['debrief', 'a.bin', 'b.bin'])\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"started\n"
        process.send_signal(signal.SIGINT)
        _, error = process.communicate(timeout=30)

    assert (130, b"flightlog: stopped before the end\n") == (process.returncode, error)
