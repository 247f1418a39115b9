"""Addresses of the room's pages."""

from django.urls import path

from breeder.carriers import rule_views, views

app_name = "carriers"
urlpatterns = [
    path("services/", views.services, name="services"),
    path("services/new/", views.service, name="service_new"),
    path("services/<int:pk>/", views.service, name="service"),
    path("closures/", views.closures, name="closures"),
    path("closures/<int:pk>/remove/", views.remove_closure, name="remove_closure"),
    path("rules/", rule_views.rules, name="rules"),
    path("rules/rules.csv", rule_views.rules_csv, name="rules_csv"),
    path("rules/file/", rule_views.rules_upload, name="rules_file"),
    path("rules/new/", rule_views.rule, name="rule_new"),
    path("rules/<int:pk>/", rule_views.rule, name="rule"),
    path("rules/carriers/", rule_views.carrier_rules, name="carrier_rules"),
    path("rules/carriers/new/", rule_views.carrier_rule, name="carrier_rule_new"),
    path("rules/carriers/<int:pk>/", rule_views.carrier_rule, name="carrier_rule"),
    path("permits/", rule_views.permits, name="permits"),
    path("permits/new/", rule_views.permit, name="permit_new"),
    path("permits/<int:pk>/", rule_views.permit, name="permit"),
]
