"""How everything of ours looks, on screens and on paper: one place for all of it.

Near-black on white, for a laptop in the sun. One size of text for reading, one for what is decided.
A state is a word with a shape, and its block differs by frame and filling, so that it reads in
greys and by anybody's eyes: *held* is a black block, *released* a white one in a heavy frame, what
is still open has a broken frame. Colour comes last and tells nothing alone.
"""

from __future__ import annotations

INK, PAPER = "#141414", "#ffffff"
GREY = "#474747"
"""Of text that comes second; still 9 to 1 on paper."""
FAINT = "#c9c9c4"
"""Of rules and grids."""
WASH = "#f4f4ef"
"""Behind what belongs together."""
ACCENT = "#0b3c7d"
"""Of what can be pressed or followed."""
LINES = ("#141414", "#0b4a9e", "#c25a00", "#949494")
"""Of the first, second, third and fourth line of a chart; apart in lightness too."""
BAND = 0.18
"""How strongly the interval of a line is filled with its colour."""
SHADE, THIN = "#dcdcdc", "#8c8c8c"
"""On paper: of intervals, and of lines that stand behind the others."""
CODE = "#000000"
"""Of a code that a camera reads: full black, which no printer breaks up into dots."""

FONT = '"Source Sans", "Source Sans 3", system-ui, "Segoe UI", sans-serif'
MONO = '"Source Code Pro", ui-monospace, Consolas, monospace'
TEXT_PX, SMALL_PX, STATE_PX = 17, 16, 34
TITLE_PX, ANSWER_PX, HEADING_PX, LARGE_PX = 26, 24, 20, 19
"""Of a page's name, of the sentence or item that is read first, of headings, of large buttons."""
STEP_PX = 8
"""All distances are multiples of it."""
TARGET_PX = 56
"""Least height of what is pressed with cold hands."""

SHAPES = {
    "met": "●",
    "not met": "✕",
    "not shown": "◐",
    "not assessable": "○",
    "released": "▲",
    "held": "■",
    "ready": "△",
    "pass": "●",
    "fail": "✕",
    "open": "○",
    "shown": "●",
    "to be shown anew": "◐",
    "deferred": "◐",
    "deferral over": "■",
    "put right, not closed": "◐",
    "closed": "●",
    "overdue": "■",
    "due": "■",
    "soon": "◐",
    "later": "○",
    "complete": "●",
    "holds": "●",
    "does not hold": "✕",
    "within": "●",
    "beyond": "✕",
    "inside": "●",
    "outside": "✕",
    "none": "○",
    "expired": "✕",
    "void": "✕",
}
"""State -> the shape that always stands before its word."""

_HEAVY = ("held", "not met", "does not hold", "fail", "beyond", "outside", "void", "overdue",
          "due", "deferral over", "FLOWN WITHOUT A RELEASE")  # fmt: skip
_BROKEN = ("ready", "not shown", "not assessable", "open", "to be shown anew", "soon", "deferred",
           "put right, not closed")  # fmt: skip


def shape(word: str) -> str:
    """Give the shape of a state; a dash for a word that is none."""
    return SHAPES.get(word, "–")


def state_class(word: str) -> str:
    """Give the class of a state's block: heavy, broken or plain."""
    return "heavy" if word in _HEAVY else "broken" if word in _BROKEN else "plain"


def page_css() -> str:
    """Give the style sheet of what we draw ourselves, for the screen and for one-file pages."""
    return f"""
.fl {{ font-family: {FONT}; font-size: {TEXT_PX}px; line-height: 1.45; color: {INK}; }}
.fl-title {{ font-size: {TITLE_PX}px; font-weight: 700; margin: 0; line-height: 1.2; }}
.fl-says {{ color: {GREY}; margin: {STEP_PX // 2}px 0 0; }}
.fl-heading {{ font-size: {HEADING_PX}px; font-weight: 700; margin: {STEP_PX}px 0 0;
  padding-top: {STEP_PX}px; border-top: 2px solid {INK}; }}
.fl-state {{ display: inline-block; padding: {STEP_PX}px {3 * STEP_PX}px; font-weight: 700;
  font-size: {STATE_PX}px; line-height: 1.2; border: 4px solid {INK}; background: {PAPER}; }}
.fl-state.heavy {{ background: {INK}; color: {PAPER}; }}
.fl-state.broken {{ border-style: dashed; }}
.fl-state-says {{ margin-top: {STEP_PX}px; }}
.fl-mark {{ display: inline-block; padding: 0 {STEP_PX}px; border: 2px solid {INK};
  font-weight: 700; white-space: nowrap; }}
.fl-mark.heavy {{ background: {INK}; color: {PAPER}; }}
.fl-mark.broken {{ border-style: dashed; }}
.fl-limit {{ margin: {2 * STEP_PX}px 0; break-inside: avoid; }}
.fl-note {{ border-left: 4px solid {FAINT}; padding: {STEP_PX // 2}px {2 * STEP_PX}px; }}
.fl-warn {{ border: 2px solid {INK}; border-left-width: 12px;
  padding: {STEP_PX}px {2 * STEP_PX}px; font-weight: 600; }}
.fl-empty {{ border: 2px dashed {GREY}; padding: {3 * STEP_PX}px; }}
.fl-caution {{ color: {GREY}; font-size: {SMALL_PX}px; }}
.fl table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }}
.fl th {{ text-align: left; border-bottom: 2px solid {INK}; padding: 4px {STEP_PX}px;
  font-weight: 700; }}
.fl td {{ border-bottom: 1px solid {FAINT}; padding: 4px {STEP_PX}px; vertical-align: top; }}
.fl td.number, .fl th.number {{ text-align: right; white-space: nowrap; }}
.fl-wide {{ overflow-x: auto; }}
.fl-lines {{ font-family: {MONO}; font-size: {SMALL_PX}px; white-space: pre-wrap;
  overflow-wrap: anywhere; background: {WASH}; padding: {2 * STEP_PX}px; margin: 0; }}
.fl code {{ font-family: {MONO}; font-size: .95em; background: {WASH}; padding: 0 4px;
  color: {INK}; overflow-wrap: anywhere; }}
.fl svg, .fl-picture {{ max-width: 100%; height: auto; display: block; }}
.fl a {{ color: {ACCENT}; }}
.fl-grid {{ overflow: auto; max-height: 560px; border: 1px solid {GREY}; }}
.fl-grid table {{ border-collapse: separate; border-spacing: 0; white-space: nowrap; }}
.fl-grid th {{ position: sticky; top: 0; background: {WASH}; padding: 0; z-index: 1; }}
.fl-grid th.plain {{ padding: {STEP_PX}px; }}
.fl-grid td:first-child, .fl-grid th:first-child {{ position: sticky; left: 0;
  background: {PAPER}; border-right: 1px solid {GREY}; }}
.fl-grid th:first-child {{ background: {WASH}; z-index: 2; }}
.fl-grid td.number {{ text-align: right; }}
.fl-grid button {{ font: inherit; color: {INK}; background: none; border: 0; cursor: pointer;
  min-height: 40px; padding: 0 {STEP_PX}px; text-align: left; white-space: nowrap; }}
.fl-grid th button {{ font-weight: 700; width: 100%; }}
.fl-grid td:first-child {{ padding: 0; }}
.fl-grid td:first-child button {{ color: {ACCENT}; text-decoration: underline; }}
.fl-grid td {{ vertical-align: middle; }}
.fl-grid tbody tr {{ cursor: pointer; }}
.fl-grid tbody tr:hover td, .fl-grid tr.chosen td {{ background: {WASH}; }}
.fl-grid tr.chosen td {{ border-top: 2px solid {INK}; border-bottom: 2px solid {INK}; }}
.fl-grid button:focus-visible {{ outline: 4px solid {ACCENT}; outline-offset: -4px; }}
.fl-tiles {{ display: flex; flex-wrap: wrap; border: 2px solid {INK}; }}
.fl-tile {{ flex: 1 1 150px; padding: {STEP_PX}px {2 * STEP_PX}px; line-height: 1.3;
  border-left: 1px solid {FAINT}; }}
.fl-tile:first-child {{ border-left: 0; }}
.fl-tile-number {{ font-size: {STATE_PX}px; font-weight: 700; line-height: 1.1;
  font-variant-numeric: tabular-nums; }}
.fl-tile-below {{ color: {GREY}; font-size: {SMALL_PX}px; }}
"""


def screen_css() -> str:
    """Give what the screen needs besides: room at the edges, large targets, a plain row of pages.

    The names with "st" are those that the library of the screen gives its own pieces.
    """
    return f"""
.stMainBlockContainer {{ padding: 76px {3 * STEP_PX}px {6 * STEP_PX}px; max-width: 1320px; }}
[data-testid="stVerticalBlock"] {{ gap: {2 * STEP_PX}px; }}
[data-testid="stTopNavLink"], [data-testid="stTopNavLink"] * {{ font-size: {LARGE_PX}px; }}
[data-testid="stTopNavLink"][aria-current="page"] {{ border-bottom: 4px solid {INK}; }}
.stButton button, .stFormSubmitButton button, .stDownloadButton button {{
  min-height: 44px; font-weight: 600; border-width: 2px; }}
.stButton button[kind="primary"], .stFormSubmitButton button[kind="primaryFormSubmit"] {{
  min-height: {TARGET_PX}px; font-size: {LARGE_PX}px; }}
.stButton button:focus-visible, .stFormSubmitButton button:focus-visible,
input:focus-visible, [role="radio"]:focus-visible {{
  outline: 4px solid {ACCENT} !important; outline-offset: 2px; }}
[data-testid="stButtonGroup"] button {{ min-height: 44px; }}
[data-testid="stButtonGroup"] button[aria-checked="true"] p {{ font-weight: 700; color: {INK}; }}
[data-testid="stButtonGroup"] button[aria-checked="true"] {{
  border-bottom: 4px solid {INK} !important; }}
[data-testid="stButtonGroup"] button p, [data-testid="stExpander"] summary p,
.stButton button p, .stFormSubmitButton button p, .stDownloadButton button p {{
  font-size: {SMALL_PX}px; }}
.stButton button[kind="primary"] p, .stFormSubmitButton button[kind="primaryFormSubmit"] p {{
  font-size: {LARGE_PX}px; }}
.stButton button kbd, .stButton button kbd * {{ font-size: {SMALL_PX}px; color: inherit !important;
  opacity: 1 !important; }}
[data-testid="stFileUploader"] section :is(p, small, div, span) {{ font-size: {SMALL_PX}px; }}
[data-testid="stFileChipName"] + div,
[data-testid="stFileUploaderDropzoneInstructions"] * {{ color: {GREY}; }}
[data-testid="stDateInputField"] * {{ font-size: {SMALL_PX}px; color: {GREY} !important;
  opacity: 1; }}
.stButton button:disabled, .stDownloadButton button:disabled {{
  color: {GREY}; border-style: dashed; }}
::placeholder {{ color: {GREY} !important; opacity: 1; }}
label, label p, .stSelectbox div, input, textarea {{ font-size: {SMALL_PX}px !important; }}
"""
