"""What people wait for: pages, commands from Enter to the prompt, the figures of all flights."""

from __future__ import annotations

import importlib.util
import os
import shutil
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.lines import Bench, Line, at_most, environment, say


def pages(bench: Bench) -> Iterator[Line]:
    """From page to page, warm, and a dropped log."""
    what = "pages"
    chromium = shutil.which("chromium")
    if chromium is None or importlib.util.find_spec("playwright") is None:
        yield Line(what, "not measured: needs playwright and chromium")
        return
    from playwright.sync_api import sync_playwright

    from tests.browser.seasons import EVENING, laid_out
    from tests.browser.serving import served
    from tests.browser.speed import drop, switches
    from tests.browser.watching import ARGUMENTS, watched

    root = laid_out(_demo(bench), bench.scratch / "pages")
    say("pages")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        with served(root, EVENING) as address, watched(browser, address) as window:
            window.open()
            for name, times in switches(window).items():
                yield Line(
                    f"page {name}", f"{statistics.median(times):.2f} s (most {max(times):.2f} s)"
                )
            answer, whole = drop(window, bench.log)
        browser.close()
    size = bench.log.stat().st_size / 1e6
    yield Line(
        f"log of {size:.0f} MB dropped", f"answer after {answer:.2f} s, all after {whole:.2f} s"
    )


def commands(bench: Bench) -> Iterator[Line]:
    """Common commands on the record of the demo, each in a process of its own."""
    from tests.benchmarks.start_up import PROGRAM, YARDSTICKS, common, measure

    demo = _demo(bench)
    say("commands")
    asked = {words.split(" --")[0]: [*PROGRAM, *words.split()] for words in common(demo)}
    with environment(FLIGHTLOG_PROFILE=str(demo / "profile")):
        medians = measure(asked, 3 if bench.quick else 7)
    for name, seconds in medians.items():
        shown = name.replace(f"{demo}{os.sep}", "")
        yield Line(shown if name in YARDSTICKS else f"flightlog {shown}", f"{seconds:.2f} s")


def asking(bench: Bench) -> Iterator[Line]:
    """All figures of a thousand flights as one table."""
    import flightlog
    from tests.benchmarks.ask_season import command, once
    from tests.operations.many_flights import many_flights

    flights = 200 if bench.quick else 1000
    say(f"a record of {flights} flights")
    root = bench.scratch / "many"
    root.mkdir()
    folder = many_flights(root, flights)
    tasks = {
        "again in the same process": flightlog.season_figures,
        "flightlog trends --table": command("trends", "--table"),
    }
    with environment(FLIGHTLOG_TEAM=str(folder.path), FLIGHTLOG_PROFILE=str(root / "profile")):
        wall_s, _ = once(flightlog.season_figures)
        yield Line(f"figures of {flights} flights, first", f"{wall_s:.2f} s")
        for text, task in tasks.items():
            runs = [once(task) for _ in range(5)]
            wall_s, busy_s = (statistics.median(times) for times in zip(*runs, strict=True))
            yield at_most(
                f"figures of {flights} flights, {text}",
                busy_s,
                1,
                "s",
                f" (by the clock {wall_s:.2f} s)",
            )
        # Files of all of it, with why each figure is withheld: no question that waits.
        written = root / "written.csv"
        for words in (["--json"], ["--csv", str(written)], ["--long", "--csv", str(written)]):
            runs = []
            for _ in range(3):
                written.unlink(missing_ok=True)
                runs.append(once(command("trends", "--table", *words)))
            wall_s, busy_s = (statistics.median(times) for times in zip(*runs, strict=True))
            said = " ".join(word for word in words if word.startswith("--"))
            yield Line(
                f"figures of {flights} flights, flightlog trends --table {said}",
                f"{busy_s:.2f} s (by the clock {wall_s:.2f} s)",
            )


def _demo(bench: Bench) -> Path:
    """Give a demo's folder that may be written to: a copy of the given one, or a new one."""
    place = bench.scratch / "demo"
    if place.exists():
        return place
    if bench.demo is not None:
        return Path(shutil.copytree(bench.demo, place))
    say("making the demo")
    subprocess.run(
        [sys.executable, "-m", "flightlog", "demo", "--to", str(place)],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return place
