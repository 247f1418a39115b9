"""Every room's pages; each room keeps its own addresses."""

from django.contrib.auth import views as auth
from django.urls import include, path

ROOMS = (
    "dashboard",
    "base",
    "species",
    "cultures",
    "people",
    "carriers",
    "weather",
    "orders",
    "shipments",
    "storefront",
    "documents",
)

handler400 = "breeder.base.views.bad_request"
handler500 = "breeder.middleware.server_error"

urlpatterns = [
    path("login/", auth.LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", auth.LogoutView.as_view(), name="logout"),
    *[path("", include(f"breeder.{room}.urls")) for room in ROOMS],
]
