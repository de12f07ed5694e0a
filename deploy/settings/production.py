"""Behind a TLS-terminating proxy, on servers of one's own. Nothing secret has a default."""

from __future__ import annotations

from deploy.settings.base import *
from deploy.settings.base import REST_FRAMEWORK, S3_BUCKET, env

SECRET_KEY = env.secret("SECRET_KEY", least_length=50)
SECRET_KEY_FALLBACKS = env.words("SECRET_KEY_FALLBACKS", [])
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS")
CSRF_TRUSTED_ORIGINS = env.words(
    "CSRF_TRUSTED_ORIGINS",
    # ".example.org" allows its subdomains; an origin says the same with a star.
    [f"https://{'*' if host.startswith('.') else ''}{host}" for host in ALLOWED_HOSTS],
)

SECURE_SSL_REDIRECT = env.flag("SECURE_SSL_REDIRECT", True)
SECURE_REDIRECT_EXEMPT = [r"^health/$"]
SECURE_HSTS_SECONDS = env.number("SECURE_HSTS_SECONDS", 365 * 24 * 3600)
SECURE_HSTS_INCLUDE_SUBDOMAINS = env.flag("SECURE_HSTS_INCLUDE_SUBDOMAINS", True)
SECURE_HSTS_PRELOAD = env.flag("SECURE_HSTS_PRELOAD", True)
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
# Attempts to sign in are counted by the visitor's address: so many of the last addresses in
# X-Forwarded-For are proxies' own word, and what stands before them is the visitor's.
REST_FRAMEWORK["NUM_PROXIES"] = 0
if env.flag("BEHIND_PROXY", True):
    # Only true when the proxy sets or strips this header itself; see deploy/production/README.md.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    ALLAUTH_TRUSTED_PROXY_COUNT = env.number("TRUSTED_PROXY_COUNT", 1, least=1)
    REST_FRAMEWORK["NUM_PROXIES"] = ALLAUTH_TRUSTED_PROXY_COUNT

if not S3_BUCKET:
    MEDIA_ROOT = env.text("MEDIA_ROOT")
# Never guessed: new keys in a folder that does not last would sign under another name.
CERTIFICATE_KEY_FOLDER = env.text("CERTIFICATE_KEY_FOLDER")
PUBLIC_ADDRESS = env.text(
    "PUBLIC_ADDRESS", f"https://{next(iter(ALLOWED_HOSTS), '').removeprefix('.')}"
)

EMAIL_BACKEND = env.text("EMAIL_BACKEND", "django.core.mail.backends.smtp.EmailBackend")
EMAIL_HOST = env.text("EMAIL_HOST", "localhost")
EMAIL_PORT = env.number("EMAIL_PORT", 587, least=1)
EMAIL_HOST_USER = env.text("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = env.text("EMAIL_HOST_PASSWORD", "")
# TLS from the first byte (usually port 465), or else asked for after the greeting (587).
EMAIL_USE_SSL = env.flag("EMAIL_USE_SSL", False)
EMAIL_USE_TLS = env.flag("EMAIL_USE_TLS", not EMAIL_USE_SSL)
# A mail server that answers nothing must not hold a worker.
EMAIL_TIMEOUT = 30
