"""The engine: what to lay in a loft, what it takes, and whether what was laid meets the rule.

Pure Python with numeric libraries; immutable inputs; nothing here knows of the service.
Use it as a library, or as `python -m calculations loft.json`.
"""

ENGINE_VERSION = "1.0.0"
"""Stored beside every result: raised whenever the same input may give another output."""
