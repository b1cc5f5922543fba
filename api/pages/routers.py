"""Every page, in the order of the frame's links."""

from api.pages import (
    answer,
    ask,
    check,
    component,
    edit,
    effects,
    fitting,
    import_page,
    lookup,
    order,
    picture,
    quotation,
    sign_in,
    static,
    store,
    suggest,
)

ROUTERS = (
    ask.router,
    answer.router,
    check.router,
    lookup.router,
    component.router,
    order.router,
    store.router,
    fitting.router,
    quotation.router,
    picture.router,
    import_page.router,
    effects.router,
    edit.router,
    suggest.router,
    sign_in.router,
    static.router,
)
