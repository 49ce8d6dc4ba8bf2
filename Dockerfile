FROM python:3.11-slim
WORKDIR /app
COPY requirements.lock ./
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY . .
RUN pip install --no-cache-dir --no-deps --no-build-isolation -e . \
    && python -m server.static_files \
    && python -m compileall -q server \
    && useradd --system --create-home benchledger \
    && mkdir /data && chown benchledger /data
USER benchledger
EXPOSE 8000
CMD ["benchledger", "serve"]
