"""The same content as words, for terminals and paper."""
