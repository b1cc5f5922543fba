"""Every page, in the order of the frame's links."""

from api.pages import answer, ask, check, component, fitting, lookup, order, picture, sign_in, static, suggest

ROUTERS = (
    ask.router,
    answer.router,
    check.router,
    lookup.router,
    component.router,
    order.router,
    fitting.router,
    picture.router,
    suggest.router,
    sign_in.router,
    static.router,
)
