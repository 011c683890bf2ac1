"""Row numbers in addresses."""

from typing import Annotated

from fastapi import Path

Number = Annotated[int, Path(ge=1, le=2**63 - 1)]
