"""The month's page: the facts asked once, then rendered once into a single file that opens offline."""

from rqa.review.describe import describe, in_short
from rqa.review.page import Page, render, write_page

__all__ = ["Page", "describe", "in_short", "render", "write_page"]
