"""As many garments as the cloth holds."""
