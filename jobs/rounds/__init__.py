"""The round of a crew's day: a sheet to drive and work by, and calendars to subscribe to."""
