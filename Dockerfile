# Rollcall in a container:
#
#   docker build -t rollcall .
#   docker run -d --name rollcall --hostname fernhill -v rollcall:/data -p 127.0.0.1:7655:7655 rollcall
#
# Its configuration is rollcall.yaml in /data. In a container the board has to listen on all of its addresses, or nobody
# outside can see it: `board: { listen: "0.0.0.0:7655" }`. Who may reach it, the published port decides. The board goes by
# its addresses and by its hostname, which is that of the container unless `--hostname` says another. 127.0.0.1 in a
# probe is the container itself: ask services by their own names, or run it with `--network host`.

FROM node:20-bookworm-slim AS build
# They compile better-sqlite3 where there is no binary of it to be had.
RUN apt-get update \
  && apt-get install -y --no-install-recommends python3 make g++ ca-certificates \
  && rm -rf /var/lib/apt/lists/*
WORKDIR /app
COPY package.json package-lock.json .npmrc ./
RUN npm ci
COPY tsconfig.json ./
COPY .ci .ci
COPY src src
COPY web web
RUN npm run build && npm prune --omit=dev

FROM node:20-bookworm-slim
ENV NODE_ENV=production ROLLCALL_DATA=/data
WORKDIR /app
COPY --from=build /app/node_modules node_modules
COPY --from=build /app/dist dist
COPY package.json LICENSE ./
RUN ln -s /app/dist/src/cli/main.js /usr/local/bin/rollcall \
  && install -d -m 0700 -o node -g node /data
USER node
VOLUME /data
EXPOSE 7655
HEALTHCHECK --interval=1m --timeout=5s --start-period=30s CMD ["rollcall", "health"]
# One thread beside its own is enough for V8: each keeps a megabyte or more. As `npm start` does.
ENTRYPOINT ["node", "--v8-pool-size=1", "/app/dist/src/cli/main.js", "start"]
