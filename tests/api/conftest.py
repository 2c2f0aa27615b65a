"""The pristine package and bundle of the bundle's tests serve here too, and so does the shelf."""

from tests.bundle.conftest import bundle, package, pristine, zip_bundle
from tests.catalogue.conftest import repository, shelf

__all__ = ["bundle", "package", "pristine", "repository", "shelf", "zip_bundle"]
