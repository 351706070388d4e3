"""Addresses of the library of documents, under /documents/."""

from django.urls import path

from fleet.documents import views

app_name = "documents"
urlpatterns = [
    path("", views.documents, name="documents"),
    path("new/", views.new, name="new"),
    path("<int:pk>/", views.one, name="one"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/later/", views.later, name="later"),
    path("<int:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("<int:pk>/file/", views.file, name="file"),
    path("beside/order/<str:number>/", views.beside_order, name="beside_order"),
    path("beside/<slug:what>/<int:pk>/", views.beside, name="beside"),
]
