"""The outline of a wanted part out of a file: points, curvature, or a drawing."""
