"""The commands, by what they are about; `rqa.cli` puts them together."""
