"""What teaches the witnesses and fits acceptance: run when weights or features change, never by a test."""
