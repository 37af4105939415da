"""Checks, load, fitness, release and the record of every flight."""
