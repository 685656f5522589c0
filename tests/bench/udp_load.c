/* The bare minimum that an answer over UDP costs, and what asks for it.
 * udp_load echo PORT                                        sends every datagram back until killed
 * udp_load ask ADDRESS PORT PACKETS_PER_SECOND SECONDS      sends what stands on standard input, again and again; at
 *                                                           rate 0 as fast as answers come, 64 under way
 * The latter prints: number sent, number answered, seconds. */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

enum { WINDOW = 64, BATCH = 16 };

static int64_t now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec * 1000000000LL + t.tv_nsec;
}

static int open_udp(void) {
  int s = socket(AF_INET, SOCK_DGRAM, 0), room = 8 << 20;
  setsockopt(s, SOL_SOCKET, SO_RCVBUFFORCE, &room, sizeof room);
  return s;
}

static int echo(int port) {
  struct sockaddr_in own = {.sin_family = AF_INET, .sin_port = htons(port)}, peer;
  int s = open_udp();
  if (bind(s, (struct sockaddr *)&own, sizeof own)) return perror("bind"), 3;
  for (;;) {
    char data[2048];
    socklen_t length = sizeof peer;
    ssize_t got = recvfrom(s, data, sizeof data, 0, (struct sockaddr *)&peer, &length);
    if (got >= 0) sendto(s, data, got, 0, (struct sockaddr *)&peer, length);
  }
}

static long drain(int s) {
  char data[2048];
  long got = 0;
  while (recv(s, data, sizeof data, MSG_DONTWAIT) >= 0) got++;
  return got;
}

static int ask(const char *address, int port, long rate, double seconds) {
  struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons(port)};
  inet_pton(AF_INET, address, &to.sin_addr);
  char packet[2048];
  ssize_t length = read(0, packet, sizeof packet);
  int s = open_udp();
  if (length < 1 || connect(s, (struct sockaddr *)&to, sizeof to)) return perror("connect"), 3;
  long sent = 0, got = 0;
  int64_t start = now(), end = start + (int64_t)(seconds * 1e9);
  struct pollfd p = {s, POLLIN, 0};
  while (now() < end) {
    if (rate) {
      int64_t due = start + sent * 1000000000LL / rate;
      struct timespec t = {due / 1000000000LL, due % 1000000000LL};
      clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
    }
    for (int i = 0; i < BATCH && (rate || sent - got < WINDOW); i++, sent++) send(s, packet, length, 0);
    if (!rate && poll(&p, 1, 1000) <= 0) break;
    got += drain(s);
  }
  double took = (now() - start) / 1e9;
  while (got < sent && poll(&p, 1, 500) > 0) got += drain(s); /* the last ones are still on their way */
  printf("%ld %ld %.3f\n", sent, got, took);
  return 0;
}

int main(int argc, char **argv) {
  if (argc == 3 && !strcmp(argv[1], "echo")) return echo(atoi(argv[2]));
  if (argc == 6 && !strcmp(argv[1], "ask")) return ask(argv[2], atoi(argv[3]), atol(argv[4]), atof(argv[5]));
  return 2;
}
