"""The print itself: how a piece stands, what holds it, how pieces fill the platform, and the images of its layers."""
