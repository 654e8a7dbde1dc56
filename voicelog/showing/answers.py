"""How the servers of this room say no: always JSON, always with a reason for a person."""

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response


def told(why: str, status: int) -> Response:
    """A refusal and why."""
    return JSONResponse({"why": why}, status_code=status)


async def _unknown(request: Request, error: HTTPException) -> Response:
    """The framework's own refusal (404, 405) with its headers, Allow among them."""
    why = "There is nothing at that address, or it takes no such request."
    return JSONResponse({"why": why}, status_code=error.status_code, headers=error.headers)


UNKNOWN = {HTTPException: _unknown}  # exception handlers of an application
