"""The script that the server runs for each tab: the pages by the moment of use, nothing more."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import navigation

st.set_page_config(page_title="Flightlog", layout="wide", initial_sidebar_state="collapsed")
navigation.run()
