# The image of every service in docker-compose.yml. It installs the run lock as it stands, and makes no environment.
FROM python:3.11-slim

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    PMCORE_DATA=/data

RUN useradd --system --uid 10001 --user-group --no-create-home --shell /usr/sbin/nologin pmcore \
    && install --directory --owner pmcore --group pmcore --mode 0700 /data

WORKDIR /app
COPY requirements.txt ./
RUN python -m pip install --no-cache-dir --only-binary :all: --require-hashes -r requirements.txt
COPY . ./

USER pmcore
VOLUME /data
EXPOSE 8000
CMD ["gunicorn", "pmcore.wsgi:application", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "4", \
     "--worker-tmp-dir", "/dev/shm", "--no-control-socket"]
