"""How far the daily work of a site has come. These rows change."""

from django.db import models

from pmcore.models.places import Site


class SiteSweep(models.Model):
    """The site's day for which its due inspections were last generated; the work is idempotent."""

    site = models.OneToOneField(Site, on_delete=models.PROTECT, primary_key=True, related_name="+")
    swept_on = models.DateField()
    swept_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"site {self.site_id} was swept for {self.swept_on}"
