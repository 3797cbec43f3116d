"""Belt tension from the pitch of a plucked span."""
