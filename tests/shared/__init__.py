"""What several tests share, imported as ``shared``."""
