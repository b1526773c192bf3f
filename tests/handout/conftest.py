"""What a printed document says of its own parts."""

import io

import pytest
from pypdf import PdfReader


@pytest.fixture
def structure():
    """Give what walks through the parts of a PDF, in the order in which they are read out."""

    def parts(pdf):
        waiting = [PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]]
        while waiting:
            part = waiting.pop()
            part = part.get_object() if hasattr(part, "get_object") else part
            if isinstance(part, dict):
                yield part
                waiting.append(part.get("/K"))
            elif isinstance(part, list):
                waiting.extend(part[::-1])

    return parts
