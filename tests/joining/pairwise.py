"""Sorting recordings by comparing each with each, which a quicker way has to agree with."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Any

from flightlog.joining.group import Copy, Grouping, Link
from flightlog.joining.match import match
from flightlog.joining.sketch import Sketch

grouping: Any = import_module("flightlog.joining.group")  # which its function hides


def group(sketches: Sequence[Sketch]) -> Grouping:
    copies = find_copies(sketches)
    left_out = {c.index for c in copies}
    kept = [i for i in range(len(sketches)) if i not in left_out]
    kept.sort(key=lambda i: sketches[i].rank, reverse=True)
    hosts = []
    for one in kept:
        joined = []
        for host in hosts:
            found = match(sketches[host.index], sketches[one])
            if found.alignment is not None:
                joined.append((host, found.alignment))
            elif found.unaligned:
                host.unaligned.append((one, found.unaligned))
        for host, alignment in joined:
            host.partners.append(Link(one, alignment))
        spans = [grouping._span(sketches[host.index], alignment) for host, alignment in joined]
        taken, rest_s = grouping._shown_elsewhere(sketches[one], spans)
        if not joined or rest_s >= grouping.FLIGHT_S:
            hosts.append(grouping._Host(one, taken, tuple(host.index for host, _ in joined)))
    groups = [host.group() for host in hosts]
    groups.sort(key=lambda g: (g.primary if g.hosts else min(g.members), g.primary))
    return Grouping(tuple(groups), copies, tuple(s.file for s in sketches))


def find_copies(sketches: Sequence[Sketch]) -> tuple[Copy, ...]:
    copies: list[Copy] = []
    stands: list[int] = []
    by_content: dict[str, int] = {}
    for index, one in enumerate(sketches):
        first = by_content.setdefault(one.sha256, index)
        if first == index:
            stands.append(index)
        else:
            copies.append(grouping._same(index, first, one))
    stands.sort(key=lambda i: (sketches[i].size, -i), reverse=True)
    heads = {i: grouping._head(sketches[i]) for i in stands}
    for place, short in enumerate(stands):
        if any(c.index == short for c in copies):
            continue
        for long in stands[:place]:
            if any(c.index == long for c in copies):
                continue
            found = grouping._shorter(short, long, sketches, heads)
            if found is not None:
                copies.append(found)
                break
    return grouping._told_of_the_last(copies)
