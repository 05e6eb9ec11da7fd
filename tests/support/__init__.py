"""What several tests share: a running LibreOffice and the published check values."""
