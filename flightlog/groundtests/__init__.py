"""Reduction of ground tests: what a stand, a scale or a released wing tip showed, in figures."""
