"""Where film lies that people bring to the library themselves, and what kinds of file are taken for film."""

from __future__ import annotations

UPLOADED = "uploaded"
"""Folder in the library for whole files that came over the review page; every watch of the library looks into it."""
SUFFIXES = frozenset((
    ".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".mts", ".m2ts", ".ts", ".mpg", ".mpeg", ".mxf", ".wmv", ".asf", ".flv",
    ".3gp", ".ogv"))
"""File endings of the containers that FFmpeg's libraries read; a file that is named itself is tried whatever it is called."""
SCRIPT = "practice-script.csv"
"""A practice script that lies beside the film, or one folder above it, is found by this name."""
UPLOADS = "uploads"
"""Folder in the library for files that are still on their way."""
