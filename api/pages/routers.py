"""Every page, in the order of the frame's links."""

from api.pages import ask, sign_in, static, suggest

ROUTERS = (ask.router, suggest.router, sign_in.router, static.router)
