"""Choosing who signs on the page before a flight."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.operations.desk import Desk
from flightlog.operations.signers import hands_for


def who_signs(
    desk: Desk, roles: Sequence[str], words: str, key: str, but: Collection[str] = ()
) -> str | None:
    """Ask who signs, of those who may; None where nobody may, which is then told.

    Parameters
    ----------
    desk : Desk
        The team's.
    roles : sequence of str
        Roles that will do; with none, anybody of the crew.
    words : str
        What they do: the label of the field.
    key : str
        Of the widget.
    but : collection of str
        Keys of persons who must not be among them.

    Returns
    -------
    str or None
        The public key of the person.
    """
    found = hands_for(desk, roles, but)
    if not found:
        asked = f" in the role {' or '.join(roles)}" if roles else ""
        parts.nothing(
            f"Nobody can sign this{asked}.",
            "Two others give roles to a person.",
            "flightlog team crew grant WHO ROLE --by WHO --by WHO",
        )
        return None
    keys = [hand.key for hand in found]
    return st.selectbox(
        words,
        keys,
        format_func=lambda one: parts.option(desk.crew.label_of_key(one)),
        key=key,
    )
