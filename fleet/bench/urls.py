"""The bench's addresses."""

from django.urls import path

from fleet.bench.views import finish, flow, kits, lists, order, queue, reference, together, trace

app_name = "bench"
urlpatterns = [
    path("", queue.queue, name="queue"),
    path("receive/", queue.receive, name="receive"),
    path("orders/", lists.orders, name="orders"),
    path("orders/<str:number>/", order.order, name="order"),
    path("orders/<str:number>/work/", order.work, name="work"),
    path("orders/<str:number>/together/", together.together, name="together"),
    path("orders/<str:number>/scan/", together.scan, name="scan"),
    path("orders/<str:number>/steps/<int:position>/", order.answer, name="answer"),
    path("orders/<str:number>/finish/", finish.finish, name="finish"),
    path("orders/<str:number>/sheet/", order.sheet, name="sheet"),
    path("orders/<str:number>/act/<slug:verb>/", order.act, name="act"),
    path("calibrations/<int:pk>/trace/", trace.trace, name="trace"),
    path("orders/<str:number>/flow/", flow.flow, name="flow"),
    path("orders/<str:number>/occlusion/", flow.occlusion, name="occlusion"),
    path("flow/<int:pk>/", flow.flow_test, name="flow_test"),
    path("flow/<int:pk>/log/", flow.flow_log, name="flow_log"),
    path("occlusion/<int:pk>/void/", flow.void_occlusion, name="void_occlusion"),
    path("delivery-limits/", flow.limits, name="delivery_limits"),
    path("delivery-limits/new/", flow.limit_new, name="delivery_limit_new"),
    path("delivery-limits/<int:pk>/", flow.limit, name="delivery_limit"),
    path("reference-limits/", reference.limits, name="reference_limits"),
    path("reference-limits/new/", reference.limit_new, name="reference_limit_new"),
    path("reference-limits/profiles/new/", reference.profile_new, name="limit_profile_new"),
    path("reference-limits/places/", reference.policies, name="limit_policies"),
    path("reference-limits/places/<int:pk>/", reference.policy, name="limit_policy"),
    path("reference-limits/<int:pk>/", reference.limit, name="reference_limit"),
    path("procedures/", lists.procedures, name="procedures"),
    path("procedures/<slug:code>/kit/", kits.kit, name="kit"),
    path("rates/", kits.rates, name="rates"),
    path("procedures/<slug:code>/", lists.procedure, name="procedure"),
]
