"""Results for the eye: pictures, reports, files to hand on, panels of sliders."""
