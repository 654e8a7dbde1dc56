"""Style sheets and scripts of a server's pages: a fixed list of our own files, nothing else."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from voicelog.showing.pages import asset

MEDIA_TYPES = {"css": "text/css", "js": "text/javascript"}


def asset_route(*names: str) -> Route:
    """``/assets/NAME`` for the files named; any other name is 404."""

    async def give(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in names:
            return Response(status_code=404)
        return Response(asset(name), media_type=MEDIA_TYPES[name.rpartition(".")[2]])

    return Route("/assets/{name}", give)
