"""Driving times that a road-routing server answered, kept so that each is asked once."""

from __future__ import annotations

from django.db import models


class TravelLeg(models.Model):
    """From one place to another by one provider; the way back is a leg of its own.

    Places are rounded to a ten-thousandth of a degree (some 11 m), which is finer than where
    a van parks. Legs of the great-circle rule are never stored: working them out is faster than
    reading them.
    """

    provider = models.CharField(max_length=120, help_text="Which server answered.")
    from_latitude_e4 = models.IntegerField(help_text="Latitude [1/10,000 deg].")
    from_longitude_e4 = models.IntegerField()
    to_latitude_e4 = models.IntegerField()
    to_longitude_e4 = models.IntegerField()
    seconds = models.PositiveIntegerField()
    metres = models.PositiveIntegerField()
    asked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=[
                    "provider",
                    "from_latitude_e4",
                    "from_longitude_e4",
                    "to_latitude_e4",
                    "to_longitude_e4",
                ],
                name="travel_leg_once",
                violation_error_message="This leg is known already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.seconds / 60:.0f} min, {self.metres / 1000:.1f} km"
