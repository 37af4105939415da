"""The server of the pages: on this laptop alone, silent to the world, with its guards on."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from urllib.error import URLError
from urllib.request import ProxyHandler, build_opener

from flightlog.dashboard import setup
from flightlog.errors import UsageError
from flightlog.reports import look

HOST = "127.0.0.1"
PORTS = range(8017, 8037)
"""Tried in turn where nobody named one."""
LARGEST_MB = 500
_ENTRY = Path(__file__).parent / "entry" / "app.py"
_HEAVY = (
    "flightlog.dashboard.navigation",
    "flightlog.analyses.laps",
    "flightlog.analyses.takeoff",
    "flightlog.importers.dataflash",
    "flightlog.screening",
    "plotly.graph_objects",
    "scipy.stats",
)
_PATIENCE_S = 30.0
_PAUSE_S = 0.1


def options(port: int) -> dict[str, object]:
    """Give the server's options, under the names of its own command line."""
    return {
        "server_address": HOST,
        "server_port": port,
        # A page of another site may not speak to ours, under whatever name it calls us.
        "server_allowedHosts": [HOST, "localhost"],
        "server_enableCORS": True,
        "server_enableXsrfProtection": True,
        "server_enableAgentApi": False,
        "server_headless": True,
        "server_showEmailPrompt": False,
        "server_fileWatcherType": "none",
        "server_runOnSave": False,
        "server_maxUploadSize": LARGEST_MB,
        "browser_gatherUsageStats": False,
        "logger_hideWelcomeMessage": True,
        "client_toolbarMode": "minimal",
        "client_showErrorDetails": "none",
        "client_showErrorLinks": False,
        "runner_magicEnabled": False,
        "theme_base": "light",
        "theme_primaryColor": look.ACCENT,
        "theme_backgroundColor": look.PAPER,
        "theme_secondaryBackgroundColor": look.WASH,
        "theme_textColor": look.INK,
        "theme_linkColor": look.ACCENT,
        "theme_borderColor": look.GREY,
        "theme_showWidgetBorder": True,
        "theme_baseRadius": "none",
        "theme_buttonRadius": "none",
        "theme_baseFontSize": look.TEXT_PX,
        "theme_font": "sans-serif",
        "theme_codeFont": "monospace",
    }


def free_port() -> int:
    """Give the first of our ports that nobody listens at.

    Raises
    ------
    UsageError
        If all are taken.
    """
    for port in PORTS:
        if is_free(port):
            return port
    raise UsageError(
        f"the ports {PORTS[0]} to {PORTS[-1]} are all in use",
        where="--port",
        fix="Close other windows of these pages, or name a free port.",
    )


def is_free(port: int) -> bool:
    """Whether a port of this laptop can be listened at."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as tried:
        try:
            tried.bind((HOST, port))
        except OSError:
            return False
    return True


def serve(given: setup.Setup, port: int, ready: Callable[[str], None] | None = None) -> None:
    """Serve the pages until somebody stops it.

    Parameters
    ----------
    given : Setup
        What they are opened with.
    port : int
        Where to listen, on this laptop alone.
    ready : callable, optional
        Called with the address, in a thread of its own, when the pages answer.
    """
    from streamlit.web import bootstrap

    _stay_here()
    setup.use(given)
    threading.Thread(target=_warm_up, daemon=True).start()
    if ready is not None:
        threading.Thread(target=_tell, args=(port, ready), daemon=True).start()
    chosen = options(port)
    bootstrap.load_config_options(chosen)
    bootstrap.run(str(_ENTRY), False, [], chosen)


def _warm_up() -> None:
    """Load what the first page and the first log need while the browser opens."""
    for name in _HEAVY:
        import_module(name)


def _stay_here() -> None:
    """Keep the library from asking the internet for this laptop's address.

    It does so whenever a page of elsewhere knocks, to see whether that page might be ours.
    """
    from streamlit import net_util

    for name in ("get_internal_ip", "get_external_ip"):
        setattr(net_util, name, lambda: None)


def address(port: int) -> str:
    """Give where the pages are."""
    return f"http://{HOST}:{port}"


def _tell(port: int, ready: Callable[[str], None]) -> None:
    """Wait until the pages answer, and say so; no proxy is asked."""
    opener = build_opener(ProxyHandler({}))
    until = time.monotonic() + _PATIENCE_S
    while time.monotonic() < until:
        try:
            with opener.open(f"{address(port)}/_stcore/health", timeout=1.0):
                break
        except (URLError, OSError):
            time.sleep(_PAUSE_S)
    ready(address(port))
