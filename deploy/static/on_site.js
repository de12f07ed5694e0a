// The scripts of the on-site pages are modules now: deploy/static/on_site/main.js begins them.
