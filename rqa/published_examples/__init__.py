"""Published examples of control charts computed anew: what is printed beside what this package gives."""

from rqa.published_examples.answer import PublishedFigures, published

__all__ = ["PublishedFigures", "published"]
