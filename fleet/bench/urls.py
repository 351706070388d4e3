"""The bench's addresses."""

from django.urls import path

from fleet.bench.views import finish, lists, order, queue

app_name = "bench"
urlpatterns = [
    path("", queue.queue, name="queue"),
    path("receive/", queue.receive, name="receive"),
    path("orders/", lists.orders, name="orders"),
    path("orders/<str:number>/", order.order, name="order"),
    path("orders/<str:number>/steps/<int:position>/", order.answer, name="answer"),
    path("orders/<str:number>/finish/", finish.finish, name="finish"),
    path("orders/<str:number>/sheet/", order.sheet, name="sheet"),
    path("orders/<str:number>/act/<slug:verb>/", order.act, name="act"),
    path("procedures/", lists.procedures, name="procedures"),
    path("procedures/<slug:code>/", lists.procedure, name="procedure"),
]
