"""The areas of a depot: `depot.returns`, `.yields`, `.charts`, `.steps`, `.tests`, `.actions`, `.data`."""
