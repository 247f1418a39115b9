"""Addresses of the room's pages."""

from django.urls import path

from breeder.base import access_views, backup_views, views

app_name = "base"
urlpatterns = [
    path("book/", views.book, name="book"),
    path("book/settings/", views.settings, name="settings"),
    path("book/log/", views.log, name="log"),
    path("book/password/", access_views.password, name="password"),
    path("book/sessions/", access_views.sessions, name="sessions"),
    path("book/helpers/", access_views.helpers, name="helpers"),
    path("book/helpers/<int:pk>/", access_views.helper, name="helper"),
    path("book/helpers/<int:pk>/end/", access_views.helper_end, name="helper_end"),
    path("book/backup/", backup_views.backup, name="backup"),
    path("book/backup/file/", backup_views.download, name="backup_file"),
    path("photos/<int:pk>/", views.photo, name="photo"),
]
