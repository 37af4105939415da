"""The pages in the order of a day."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.pages import after, before, ground_tests, records, season


def run() -> None:
    """Draw the row of pages, and the one that is open."""
    pages = [
        st.Page(before.show, title="Before", url_path="first", default=True),
        st.Page(after.show, title="After", url_path="after"),
        st.Page(season.show, title="Season", url_path="season"),
        st.Page(ground_tests.show, title="Ground tests", url_path="ground-tests"),
        st.Page(records.show, title="Records", url_path="records"),
        # The first page lives at the root; whoever types or kept its name finds it too.
        st.Page(_before, title="Before", url_path="before", visibility="hidden"),
    ]
    # Drawn here it belongs to all pages; drawn by a page, the look would go away with that page and
    # come back with the next.
    parts.style()
    st.navigation(pages, position="top").run()


def _before() -> None:
    before.show()
