"""Addresses of the room's pages."""

from django.urls import path

from breeder.weather import climatology_views, views

app_name = "weather"
urlpatterns = [
    path("weather/", views.places, name="places"),
    path("weather/<int:pk>/", views.place, name="place"),
    path("weather/<int:pk>/fresh/", views.fresh, name="fresh"),
    path("weather/<int:pk>/file/", views.upload, name="upload"),
    path("weather/<int:pk>/usual/", climatology_views.usual, name="usual"),
    path("weather/<int:pk>/by-hand/", views.type_days, name="by_hand"),
]
