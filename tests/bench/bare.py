"""A page of the framework alone, for the day page to be measured beside: the same bytes, and nothing worked out."""

from __future__ import annotations

import os

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from starlette.middleware.gzip import GZipMiddleware

app = FastAPI()
app.add_middleware(GZipMiddleware, minimum_size=600, compresslevel=6)
with open(os.environ["BARE_PAGE"]) as page:  # noqa: PTH123 - a file that the benchmark names
    PAGE = page.read()


@app.get("/days/{number}")
def show(number: int) -> HTMLResponse:
    """The page."""
    return HTMLResponse(PAGE)
