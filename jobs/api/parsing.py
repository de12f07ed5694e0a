"""Reading the body of a request to the API."""

from __future__ import annotations

from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class BoundedJSONParser(JSONParser):
    """JSON; what is nested deeper than Python reads is the sender's fault, not ours."""

    def parse(self, stream: IO[bytes], *args: Any, **kwargs: Any) -> Any:
        try:
            return super().parse(stream, *args, **kwargs)
        except RecursionError:
            raise ParseError("This JSON is nested too deeply.") from None
