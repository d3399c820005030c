"""A lake: a depot in buckets of units, each counted by itself, for more jobs than one store can hold."""
