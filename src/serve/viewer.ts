/** Who asks. Set for every request before its route sees it (access.ts). */

export type Viewer =
  /** No passphrase is configured: everybody reads, nobody acts. */
  | { readonly kind: 'anyone' }
  /** Nobody that is known; only what is open to all is answered. */
  | { readonly kind: 'stranger' }
  /** Has a token: reads. */
  | { readonly kind: 'program' }
  | Owner;

/** Signed in: reads and acts. */
export interface Owner {
  readonly kind: 'owner';
  readonly sessionId: string;
  /** For one form of this session; another text at each call, as many as one likes are good at one time. */
  formToken(): string;
  /** Whether a form's token was made for this session. */
  isFormToken(token: string): boolean;
}

declare module 'fastify' {
  interface FastifyRequest {
    viewer: Viewer;
  }
  interface FastifyContextConfig {
    /** Answered to strangers too. */
    open?: boolean;
  }
}
